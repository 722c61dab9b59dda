package dough

import (
	"math/rand/v2"
	"time"
)

// maxStepH is the longest step of the integration, h.
const maxStepH = 30.0 / 3600

// Dough is a fermenting dough. It is not safe for use by several goroutines at once.
type Dough struct {
	p       Params
	yeast   yeast
	foam    foam
	surface surface
	hours   float64
	baseL   float64 // volume of the settled dough per kg, l
}

// New mixes a dough. An empty Mechanism is Monod; parameters that Check refuses give nonsense.
func New(p Params) *Dough {
	d := &Dough{p: p}
	switch p.Mechanism {
	case Film:
		d.yeast, d.foam = newTwoSugarYeast(p), newFilmFoam(p)
	default:
		d.yeast, d.foam = newMonodYeast(p), newOpenFoam(p)
	}
	d.baseL = liquidLitres + d.foam.litres()
	d.surface = surface{p: p, rng: rand.New(rand.NewPCG(p.Seed, 0xd009)), slump: p.SlumpPct / 100 * p.BaseMM}
	return d
}

// Step advances the dough by dt at a temperature, °C. Steps longer than 30 s are divided.
func (d *Dough) Step(dt time.Duration, tempC float64) {
	h := dt.Hours()
	n := max(1, int(h/maxStepH+0.999999))
	for range n {
		d.step(h/float64(n), tempC)
	}
}

func (d *Dough) step(h, c float64) {
	made := d.yeast.step(h, c)
	d.foam.step(h, c, made, d.yeast.acid())
	d.hours += h
	d.surface.step(h, c, d.Multiple())
}

// Hours is the time since mixing, h.
func (d *Dough) Hours() float64 { return d.hours }

// Multiple is the dough's true volume over that of the settled dough at mixing.
func (d *Dough) Multiple() float64 { return (liquidLitres + d.foam.litres()) / d.baseL }

// LevelMM is the mean height of the sample's surface in a straight jar, mm: its volume, and what has not slumped yet.
func (d *Dough) LevelMM() float64 { return d.p.BaseMM*d.Multiple() + d.surface.slump }

// DomeMM is how much higher the middle of the surface stands than its mean, mm, blisters aside.
func (d *Dough) DomeMM() float64 { return d.surface.dome }

// SurfaceMM is the height of the surface where a ranger above the middle looks, mm: level, dome and blisters.
func (d *Dough) SurfaceMM() float64 { return d.LevelMM() + d.surface.dome + d.surface.blister }

// Bursts counts the blisters that have burst so far.
func (d *Dough) Bursts() int { return d.surface.bursts }

// Balance is where the carbon dioxide is.
func (d *Dough) Balance() Balance { return d.foam.balance() }

// Acid is how far the dough has soured, 0 fresh to about 1 ripe.
func (d *Dough) Acid() float64 { return d.yeast.acid() }
