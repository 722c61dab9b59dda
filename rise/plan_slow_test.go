//go:build slow

package rise_test

import (
	"testing"

	"nightjar/sensor/sim/dough"

	"github.com/stretchr/testify/assert"
)

func TestPlanMeetsAThousandNights(t *testing.T) {
	for _, m := range dough.Mechanisms {
		t.Run(string(m), func(t *testing.T) {
			t.Parallel()
			off, covered := plannedNights(m, 1000)
			t.Logf("median %.0f min, 80 %% within %.0f min, covered %.3f", off[500], off[800], covered)
			assert.Less(t, off[500], 45.0)
			assert.GreaterOrEqual(t, covered, 0.76)
			assert.LessOrEqual(t, covered, 0.84)
		})
	}
}
