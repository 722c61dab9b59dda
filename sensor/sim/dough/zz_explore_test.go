package dough
import ("testing";"fmt";"math/rand/v2";"sort")
func TestZZ(t *testing.T){
 for _,m:=range Mechanisms { p:=Default(); p.Mechanism=m
  for _,c:=range []float64{18,20,22,25,28} { p.StartC=c; n:=Simulate(p,Steady(c),Span{Hours:36}); a,_:=n.TimeTo(2); b,_:=n.TimeTo(1.1); pk,ph:=n.Peak(); e:=n.Multiple[len(n.Multiple)-1]; fmt.Printf("%s %g C: x1.1 %.2f x2 %.2f peak %.2f at %.2f end %.2f\n",m,c,b,a,pk,ph,e)}
  for _,in:=range []float64{5,10,20,40} { p.StartC=22;p.InoculationPct=in; n:=Simulate(p,Steady(22),Span{Hours:36}); a,_:=n.TimeTo(2); pk,ph:=n.Peak(); fmt.Printf("%s inoc %g: x2 %.2f peak %.2f at %.2f\n",m,in,a,pk,ph)}
  for _,r:=range []float64{1,2,5,10} { q:=Feeding(p.Culture,20,20*r,20*r); q.Mechanism=m; q.StartC=25; n:=Simulate(q,Steady(25),Span{Hours:30}); a,_:=n.TimeTo(2); pk,ph:=n.Peak(); fmt.Printf("%s 1:%g: p %.1f x2 %.2f peak %.2f at %.2f end %.2f\n",m,r,q.InoculationPct,a,pk,ph,n.Multiple[len(n.Multiple)-1])}
  for _,w:=range []float64{50,100,125,150,200,300} { q:=Feeding(p.Culture,20,40,40*w/100); q.Mechanism=m; q.StartC=25; n:=Simulate(q,Steady(25),Span{Hours:30}); pk,ph:=n.Peak(); fmt.Printf("%s hyd %g: peak %.2f at %.2f\n",m,q.HydrationPct,pk,ph)}
  rng:=rand.New(rand.NewPCG(1,2)); var ts []float64; none:=0
  for range 300 { p:=Draw(rng,Options{Mechanism:m}); r:=DrawRoom(rng,RoomKinds[rng.IntN(4)]); n:=Simulate(p,r,Span{Hours:30}); if a,ok:=n.TimeTo(2);ok {ts=append(ts,a)} else {none++}}
  sort.Float64s(ts); fmt.Println(m,"none",none,"q", ts[len(ts)/20],ts[len(ts)/4],ts[len(ts)/2],ts[len(ts)*3/4],ts[len(ts)*19/20])
 }
}
func BenchmarkNight(b *testing.B){ for _,m:=range Mechanisms { b.Run(string(m),func(b *testing.B){ p:=Default();p.Mechanism=m; for b.Loop(){ Simulate(p,Steady(22),Span{})}})}}
