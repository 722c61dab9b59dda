package rise_test

import (
	"fmt"

	"nightjar/rise"
)

// Whole millimetres give the mean to a fraction of one; a flash of 22 mm and a range without signal do not spoil it.
func ExampleBurster() {
	var b rise.Burster
	var samples []rise.Sample
	for _, mm := range []float64{120, 121, 22, 120, 121, 121} {
		samples = append(samples, rise.Sample{RangeMM: mm})
	}
	samples = append(samples, rise.Sample{RangeMM: 3, Status: rise.StatusWeak})
	burst := b.Burst(samples, 7)
	fmt.Println(burst.RangeMM, burst.SpreadMM, burst.Valid, burst.Of)
	// Output: 120.6 0.55 5 7
}
