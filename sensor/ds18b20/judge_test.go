package ds18b20

import (
	"testing"
	"time"

	"nightjar/sensor"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
)

func TestJudge(t *testing.T) {
	t.Parallel()
	type value struct {
		at    time.Duration
		milli int
		ok    bool
	}
	tests := []struct {
		name   string
		values []value
	}{
		// timofurrer/w1thermsensor issue 46, kizniche/Mycodo issue 404.
		{"85 as the very first sample", []value{{0, 85_000, false}, {30 * time.Second, 24_500, true}}},
		{"85 among room temperatures", []value{{0, 24_500, true}, {30 * time.Second, 85_000, false}, {time.Minute, 24_500, true}}},
		{"85 for ever is no neighbour of itself", []value{{0, 85_000, false}, {30 * time.Second, 85_000, false}, {time.Minute, 85_000, false}}},
		{"a genuine 85 on the way up", []value{{0, 82_062, true}, {30 * time.Second, 85_000, true}, {time.Minute, 87_500, true}}},
		{"85 from 70 is too fast", []value{{0, 70_000, true}, {30 * time.Second, 85_000, false}}},
		{"85 for minutes after room temperature", []value{{0, 23_000, true}, {time.Minute, 85_000, false}, {6 * time.Minute, 85_000, false}, {9 * time.Minute, 85_000, false}}},
		{"the neighbour is too old", []value{{0, 84_000, true}, {11 * time.Minute, 85_000, false}}},
		{"beside 85 nothing is suspicious", []value{{0, 84_937, true}, {30 * time.Second, 85_062, true}}},
		// cpetrich/counterfeit_DS18B20 issue 26.
		{"127.937", []value{{0, 127_937, false}, {30 * time.Second, 25_250, true}}},
		// RobTillaart/DS18B20_RT issue 9.
		{"−0.062 out of the blue", []value{{0, 24_500, true}, {30 * time.Second, -62, false}, {time.Minute, 24_500, true}}},
		{"−0.062 in a refrigerator", []value{{0, 312, true}, {30 * time.Second, -62, true}, {time.Minute, -125, true}}},
		{"0.000 with a sound scratchpad", []value{{0, 0, true}}},
		{"thousands of degrees", []value{{0, 4_094_750, false}}},
		{"a freezer and a kettle", []value{{0, -18_500, true}, {30 * time.Second, 99_875, true}}},
		{"no kitchen", []value{{0, 105_062, false}, {1, -40_062, false}}},
	}
	for _, tt := range tests {
		var j judge
		for i, v := range tt.values {
			err := j.admit(v.milli, v.at)
			if v.ok {
				require.NoError(t, err, "%s, %d", tt.name, i)
				continue
			}
			assert.ErrorIs(t, err, sensor.ErrBadValue, "%s, %d", tt.name, i)
		}
	}
}
