package dough

import "math"

const (
	gasConstant  = 8.314462618 // J/mol/K, CODATA 2018
	zeroCelsius  = 273.15      // K
	pressure     = 101325.0    // Pa, standard atmosphere
	molarLitres  = 24.79       // l/mol, ideal gas at 25 °C and 100 kPa
	referenceC   = 25.0        // °C
	henry25      = 3.4e-4      // mol/m³/Pa at 25 °C: of 3.3e-4 to 3.4e-4 in Sander 2023, Atmos. Chem. Phys. 23:10901
	henryKelvin  = 2400.0      // K, temperature term: of 2300 to 2400 K, same source
	waterDensity = 997.0       // kg/m³ at 25 °C
)

func kelvin(c float64) float64 { return c + zeroCelsius }

// Solubility is the carbon dioxide that a kilogram of water holds at temperature tempC (°C) under a partial pressure pa
// (Pa), in mol, by Henry's law with van 't Hoff's temperature term (Sander 2023, Atmos. Chem. Phys. 23:10901).
func Solubility(tempC, pa float64) float64 {
	return henry25 / waterDensity * pa * math.Exp(henryKelvin*(1/kelvin(tempC)-1/kelvin(referenceC)))
}

// gasLitres is the volume of n mol of gas at tempC and absolute pressure pa, l.
func gasLitres(n, tempC, pa float64) float64 { return 1000 * n * gasConstant * kelvin(tempC) / pa }
