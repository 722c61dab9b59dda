package dough

import "math"

const (
	filmClasses = 8
	// mended is the share of a torn class that closes again to smaller bubbles once it has sunk together.
	mended = 0.35
)

// filmFoam is a population of bubbles of several sizes in elastic films. Each takes up carbon dioxide in proportion to
// its radius from the same water, against the pressure of its film; films tear one size after the other, and what tears
// is lost.
type filmFoam struct {
	Balance
	water   float64
	viscous float64 // 1/h: rising out, for a bubble of unit stretch
	tension float64 // Pa at unit radius and no stretch
	elastic float64 // Pa
	c       float64
	class   [filmClasses]bubbles
}

// bubbles is one size class.
type bubbles struct {
	radius float64 // at mixing, in units of the median
	air    float64 // mol
	gas    float64 // carbon dioxide, mol
	start  float64 // volume at mixing, l
	count  float64 // share not yet lost
	tear   float64 // stretch at which films of this class tear
	press  float64 // Pa
}

func newFilmFoam(p Params) *filmFoam {
	_, water := p.shares()
	f := &filmFoam{water: water, c: p.StartC, viscous: escapePerH(p.HydrationPct) / 3, tension: 900, elastic: 250}
	// Radii are spread log-normally (ratio of standard deviations 1.5 about the median); volume weights each class.
	var weight [filmClasses]float64
	sum := 0.0
	for i := range f.class {
		z := -1.75 + 0.5*float64(i)
		f.class[i].radius = math.Exp(0.4 * z)
		weight[i] = math.Exp(-z*z/2) * math.Exp(1.2*z)
		sum += weight[i]
	}
	soft := math.Exp((p.HydrationPct - 72) / 300)
	for i := range f.class {
		b := &f.class[i]
		b.count, b.press = 1, pressure+f.tension/b.radius
		b.air = airMol(p) * weight[i] / sum
		b.start = b.volume(p.StartC)
		b.tear = (3.0 + 0.09*float64(i)) * math.Cbrt(p.Flour.Strength) / soft
	}
	return f
}

func (b *bubbles) volume(c float64) float64 { return gasLitres(b.air+b.gas, c, b.press) }

// stretch is the radius over that at mixing.
func (b *bubbles) stretch(c float64) float64 {
	return math.Cbrt(b.volume(c) / (b.start * max(mended, b.count)))
}

func (f *filmFoam) litres() float64 {
	v := 0.0
	for i := range f.class {
		v += f.class[i].volume(f.c)
	}
	return v
}

func (f *filmFoam) balance() Balance { return f.Balance }

func (f *filmFoam) step(h, c, made, acid float64) {
	f.c = c
	f.Made += made
	f.Dissolved += made
	perPa := f.water * Solubility(c, 1)
	for i := range f.class {
		b := &f.class[i]
		s := b.stretch(c)
		// Laplace's pressure falls as the bubble grows, the film's own rises until it yields (strain hardening).
		b.press = pressure + f.tension/(b.radius*s) + f.elastic*(s*s-1/(s*s*s*s))/s
		f.exchange(b, h, s, perPa)
		f.tear(b, h, s, acid)
	}
	f.Bubbles = 0
	for i := range f.class {
		f.Bubbles += f.class[i].gas
	}
}

func (f *filmFoam) exchange(b *bubbles, h, stretch, perPa float64) {
	full := perPa * b.press * b.gas / (b.air + b.gas)
	// Diffusion feeds a bubble in proportion to radius; small bubbles are many. 1/h.
	k := 4.5 * b.count * stretch / math.Sqrt(b.radius)
	// Implicit in the water's and the bubble's content: a bubble with little air fills within seconds, and an explicit step
	// would overshoot and ring.
	all := b.air + b.gas
	steep := perPa * b.press * b.air / (all * all)
	move := max(-b.gas, (f.Dissolved-full)*k*h/(1+k*h*(1+steep)))
	b.gas += move
	f.Dissolved -= move
}

// tear loses the bubbles of a class whose films give way or that rise out of runny dough. Sour films tear earlier.
func (f *filmFoam) tear(b *bubbles, h, stretch, acid float64) {
	strain := stretch / (b.tear * (1.12 - 0.12*min(1.5, acid)))
	strain *= strain
	strain *= strain // ^4
	hazard := 0.25*strain*strain*strain*strain + f.viscous*stretch*stretch
	kept := 1 / (1 + hazard*h)
	f.Leaked += b.gas * (1 - kept)
	b.gas *= kept
	b.count *= kept
	// The air of torn bubbles stays as nuclei of the rest.
}
