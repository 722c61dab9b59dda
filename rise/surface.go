package rise

// surface is what is known beforehand of a sample's surface, which is not flat: the ranger looks at its middle.
type surface struct {
	// dome is how much higher the middle of a risen surface stands than its mean, as a share of the height risen, with its
	// standard uncertainty.
	dome, uDome float64
	// uneven is the standard uncertainty of a level for bumps and hollows, mm. It is common to the levels of a run, since
	// the surface keeps its shape as it rises.
	uneven float64
}

// surfaceOf is the surface of a flour's dough: wheat domes, rye stays flat and cracks, and where nobody said which, none
// is taken off and either may be. Common practice, no source.
func surfaceOf(flour string) surface {
	switch flour {
	case "wheat":
		return surface{dome: 0.07, uDome: 0.025, uneven: 0.3}
	case "rye":
		return surface{dome: 0, uDome: 0.015, uneven: 0.5}
	}
	return surface{dome: 0, uDome: 0.03, uneven: 0.3}
}

// mean is the mean level of a surface whose middle is seen at a level, mm, and how much of a shift of the middle is one
// of the mean.
func (s surface) mean(base, seen float64) (level, share float64) {
	if seen <= base {
		return seen, 1
	}
	share = 1 / (1 + s.dome)
	return base + (seen-base)*share, share
}
