package rise_test

import (
	"fmt"
	"math"
	"time"

	"nightjar/rise"
)

// A sample of 30 mm that has doubled after four and a half hours, read each minute by a ranger 150 mm above the floor of its jar.
func ExampleTracker() {
	jar := rise.Jar{Name: "tall", Version: 1, FloorMM: 150, UFloorMM: 0.4, Profile: rise.Profile{Shape: rise.ShapeCylinder, DiameterMM: 66}}
	tracker, err := rise.NewTracker(rise.Case{Run: rise.Run{Kind: rise.RunDough, Target: 2}, Jar: jar})
	if err != nil {
		fmt.Println(err)
		return
	}
	start := time.Date(2031, 5, 2, 21, 30, 0, 0, time.UTC)
	for minute := range 300 {
		hours := float64(minute) / 60
		level := 30 * (1 + 1.4/(1+math.Exp(-1.3*(hours-3.7))))
		e := tracker.Add(rise.Reading{
			Stamp: rise.Stamp{Boot: 1, At: time.Duration(minute) * time.Minute},
			Time:  start.Add(time.Duration(minute) * time.Minute),
			Burst: rise.Burst{RangeMM: rise.Known(150 - level), SpreadMM: rise.Known(1), Valid: 20, Of: 20},
			JarC:  rise.Known(24),
		})
		for _, c := range e.Holds {
			if c.Since.Equal(e.Time) {
				fmt.Printf("%s %s: %s\n", e.Time.Format("15:04"), c.Kind, c.Text)
			}
		}
		if minute == 240 {
			fmt.Printf("%s ×%s ± %s, %s\n", e.Time.Format("15:04"), e.Multiple.Text(2), rise.Known(2*e.MultipleU.Or(0)).Text(2), e.Phase)
		}
	}
	fmt.Printf("base level %s mm, highest ×%s\n", tracker.Summary().BaseMM.Text(1), tracker.Summary().PeakMultiple.Text(2))
	// Output:
	// 00:52 soon: About 60 minutes until ×2.00, with luck 50 minutes, at the latest 70 minutes.
	// 01:30 ×1.81 ± 0.06, rising
	// 01:59 ready: The sample has risen to ×2.01: your target of ×2.00 is reached. It goes on rising by 38 % an hour.
	// base level 30.3 mm, highest ×2.15
}

// In a tapering glass twice the height is more than twice the volume.
func ExampleProfile_Volume() {
	glass := rise.Profile{Shape: rise.ShapeCone, DiameterMM: 64, Lean: 0.05}
	fmt.Printf("%.1f ml at 30 mm, ×%.2f at 60 mm\n", glass.Volume(30), glass.Volume(60)/glass.Volume(30))
	// Output: 101.1 ml at 30 mm, ×2.09 at 60 mm
}
