package bell_test

import (
	"testing"

	"nightjar/notify/bell"

	"github.com/stretchr/testify/assert"
)

func TestOneMessageForOneCause(t *testing.T) {
	cause := func(station, root, clock string) bell.Cause {
		return bell.Cause{Station: station, Root: root, Since: at(clock), Text: "The I2C bus does not answer."}
	}
	got := bell.Merge([]bell.Cause{
		cause("main", "i2c-1", "03:00"), cause("crate", "i2c-1", "03:01"), cause("probe", "", "03:00"), cause("shelf", "i2c-1", "03:02"),
		cause("other", "i2c-3", "03:00"), cause("probe2", "", "03:00"), cause("main", "i2c-1", "03:30"),
	})
	var stations []string
	for _, c := range got {
		stations = append(stations, c.Station)
	}
	assert.Equal(t, []string{"main", "probe", "other", "probe2", "main"}, stations)
	assert.Equal(t, "The I2C bus does not answer. The same at crate, shelf.", got[0].Text)
	assert.Equal(t, "The I2C bus does not answer.", got[4].Text, "half an hour later it is another matter")
	assert.Empty(t, bell.Merge(nil))
}
