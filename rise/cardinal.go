package rise

// Cardinal is a cardinal temperature model with inflection (Rosso, Lobry, Bajard, Flandrois 1993, J. Theor. Biol.
// 162:447): growth stops at MinC and MaxC and is fastest at OptC, °C. It has its proper shape only where OptC is above
// the middle of the other two.
type Cardinal struct{ MinC, OptC, MaxC float64 }

// SourdoughYeast is the model of a wheat or rye starter whose yeasts are not known. Most hold Saccharomyces cerevisiae
// (genus 1.3-4.3 / 32.3 / 45.4 °C; Salvadó et al. 2011, Appl. Environ. Microbiol. 77:2292), others Kazachstania humilis
// (optimum 27 °C; Gänzle, Ehmann, Hammes 1998, Appl. Environ. Microbiol. 64:2616; inhibited at 35 °C; Brandt, Hammes,
// Gänzle 2004, Eur. Food Res. Technol. 218:333). These values lie between the two.
func SourdoughYeast() Cardinal { return Cardinal{MinC: 4, OptC: 30, MaxC: 42} }

// Rate is the rate of growth at a temperature as a fraction of the rate at the optimum, from 0 to 1. It is 0 outside
// the limits, and for a temperature or a model that is no number.
func (c Cardinal) Rate(tempC float64) float64 {
	if !(tempC > c.MinC && tempC < c.MaxC) {
		return 0
	}
	above := tempC - c.MinC
	span := c.OptC - c.MinC
	denominator := span * (span*(tempC-c.OptC) - (c.OptC-c.MaxC)*(c.OptC+c.MinC-2*tempC))
	rate := (tempC - c.MaxC) * above * above / denominator
	if !(rate > 0) {
		return 0
	}
	return min(rate, 1)
}
