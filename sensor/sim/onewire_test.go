package sim

import (
	"io/fs"
	"os"
	"path/filepath"
	"syscall"
	"testing"
	"time"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
)

func TestOneWireFilesReadAsTheKernels(t *testing.T) {
	t.Parallel()
	const id = "28-0316a2795cff"
	steady := func(time.Duration) float64 { return 20.6875 }
	// pstolarz/librasp issue 1: a w1_slave file of a working sensor at 20.687 °C.
	const published = "4b 01 4b 46 7f ff 05 10 e1 : crc=e1 YES\n4b 01 4b 46 7f ff 05 10 e1 t=20687\n"
	tests := []struct {
		name   string
		kernel Kernel
		fault  WireFault
		slave  string
		hwmon  string // "" for none
		errno  error
	}{
		{"new", NewKernel, WireGood, published, "20687\n", nil},
		{"old", OldKernel, WireGood, published, "", nil},
		{"new, noise", NewKernel, WireNoise, "", "", syscall.EIO},
		{"old, noise", OldKernel, WireNoise, "4b 01 4b 46 7f ff 05 10 c1 : crc=e1 NO\n4b 01 4b 46 7f ff 05 10 c1 t=20687\n", "", nil},
		// The power-on scratchpad as quoted in timofurrer/w1thermsensor issue 46.
		{"new, power-on", NewKernel, WirePowerOn, "50 05 4b 46 7f ff 0c 10 1c : crc=1c YES\n50 05 4b 46 7f ff 0c 10 1c t=85000\n", "85000\n", nil},
		{"new, shorted", NewKernel, WireShorted, "00 00 00 00 00 00 00 00 00 : crc=00 YES\n00 00 00 00 00 00 00 00 00 t=0\n", "0\n", nil},
		{"old, floating", OldKernel, WireFloating, "ff ff ff ff ff ff ff ff ff : crc=c9 NO\nff ff ff ff ff ff ff ff ff t=-62\n", "", nil},
	}
	for _, tt := range tests {
		t.Run(tt.name, func(t *testing.T) {
			t.Parallel()
			w, err := NewOneWire(t.TempDir(), NewClock(evening, 0))
			require.NoError(t, err)
			require.NoError(t, w.Plug(id, tt.kernel, steady, nil))
			require.NoError(t, w.Spoil(id, tt.fault))
			slave, err := os.ReadFile(filepath.Join(w.Dir(), id, "w1_slave"))
			require.NoError(t, err)
			assert.Equal(t, tt.slave, string(slave))
			names, err := fs.Glob(w, id+"/hwmon/hwmon*/temp1_input")
			require.NoError(t, err)
			if tt.kernel == OldKernel {
				assert.Empty(t, names)
				return
			}
			hwmon, err := fs.ReadFile(w, names[0])
			require.ErrorIs(t, err, tt.errno)
			assert.Equal(t, tt.hwmon, string(hwmon))
		})
	}
}

func TestOneWireFollowsTheClock(t *testing.T) {
	t.Parallel()
	const id = "28-0316a2795cff"
	clock := NewClock(evening, 0)
	w, err := NewOneWire(t.TempDir(), clock)
	require.NoError(t, err)
	unplugged := func(at time.Duration) WireFault {
		if at >= 2*time.Hour {
			return WireUnplugged
		}
		return WireGood
	}
	require.NoError(t, w.Plug(id, NewKernel, func(at time.Duration) float64 { return -1 - at.Hours() }, unplugged))
	for _, want := range []string{"-1000\n", "-2000\n"} {
		got, err := fs.ReadFile(w, id+"/temperature")
		require.NoError(t, err)
		assert.Equal(t, want, string(got))
		require.NoError(t, clock.Sleep(t.Context(), time.Hour))
	}
	_, err = fs.ReadFile(w, id+"/temperature")
	require.ErrorIs(t, err, fs.ErrNotExist)
	_, err = os.Stat(filepath.Join(w.Dir(), id))
	require.ErrorIs(t, err, fs.ErrNotExist)
	require.Error(t, w.Spoil("28-000000000000", WireGood))
}
