package rise_test

import (
	"testing"
	"time"

	"nightjar/rise"

	"github.com/stretchr/testify/assert"
)

func TestRoundedKeepsWhatChipsTell(t *testing.T) {
	for sixteenths := -880; sixteenths <= 2000; sixteenths++ { // a DS18B20's whole range, −55 °C to +125 °C
		c := rise.Known(float64(sixteenths) / 16)
		r := rise.Reading{JarC: c}.Rounded()
		assert.Equal(t, c.Or(0), r.JarC.Or(99), "sixteenth %d", sixteenths)
	}
	r := rise.Reading{Stamp: rise.Stamp{Boot: 1, At: 1234567 * time.Microsecond}}
	r.RangeMM, r.SpreadMM, r.RoomRH = rise.Known(81.2349), rise.Known(-0.001), rise.Known(1e300)
	r = r.Rounded()
	assert.Equal(t, 1234*time.Millisecond, r.At)
	assert.Equal(t, "81.23", r.RangeMM.String())
	assert.Equal(t, "0", r.SpreadMM.String())
	assert.False(t, r.RoomRH.IsKnown(), "no humidity is that high")
	assert.Equal(t, r, r.Rounded())
}
