package i2cbus

import (
	"errors"
	"fmt"
	"io/fs"
	"testing"
	"time"

	"nightjar/sensor"
	"nightjar/sensor/sim"
	"nightjar/sensor/vl53l4cd"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
	"periph.io/x/conn/v3/i2c"
)

// machine is a machine with a simulated bus, which counts how often it was opened and closed.
type machine struct {
	*sim.Bus
	opened, closed int
	refuse         error
}

func (m *machine) open(int) (i2c.BusCloser, error) {
	if m.refuse != nil {
		return nil, m.refuse
	}
	m.opened++
	return m, nil
}

func (m *machine) Close() error { m.closed++; return nil }

func TestBusIsOpenedByTheFirstTransferAndAgainAfterAFault(t *testing.T) {
	t.Parallel()
	clock := sim.NewClock(time.Date(2026, 3, 6, 18, 0, 0, 0, time.UTC), time.Minute)
	m := &machine{Bus: sim.NewBus("I2C1", sim.NewVL53L4CD(clock, sim.Card(120), sim.ChipOpts{Quiet: true}))}
	b := &Bus{number: 1, open: m.open}
	assert.Zero(t, m.opened)
	d, err := vl53l4cd.New(b, 0x29, &vl53l4cd.Opts{Clock: clock})
	require.NoError(t, err)
	_, err = d.Range(t.Context(), 5)
	require.NoError(t, err)
	assert.Equal(t, 1, m.opened)

	nack := m.Inject(sim.FailNth(1, sim.ErrNACK))
	require.ErrorIs(t, b.Tx(0x29, []byte{0}, nil), sensor.ErrAbsent)
	nack()
	assert.Zero(t, m.closed, "a chip that does not answer is no fault of the bus")

	free := m.Inject(sim.FailWhile(func() bool { return true }, sim.ErrHeld))
	_, err = d.Range(t.Context(), 5)
	require.ErrorIs(t, err, sensor.ErrBus)
	assert.Equal(t, m.opened, m.closed, "no file is left behind")
	free()
	_, err = d.Range(t.Context(), 5)
	require.NoError(t, err)

	require.NoError(t, b.Close())
	require.NoError(t, b.Close())
	assert.Equal(t, m.opened, m.closed)
	require.ErrorIs(t, b.Tx(0x29, []byte{0}, nil), sensor.ErrBus)
	require.ErrorIs(t, b.Check(), fs.ErrClosed)
}

func TestOpenErrors(t *testing.T) {
	t.Parallel()
	tests := []struct {
		said  error // as periph's host/sysfs/i2c.go words it
		cause error
		error string
		hint  string
	}{
		{errors.New("sysfs-i2c: bus #7 is not configured: open /dev/i2c-7: no such file or directory"), fs.ErrNotExist,
			"open I2C bus 7: there is no /dev/i2c-7", "dtparam=i2c_arm=on"},
		{errors.New("sysfs-i2c: are you member of group 'plugdev'? open /dev/i2c-7: permission denied"), fs.ErrPermission,
			"open I2C bus 7: not allowed to open /dev/i2c-7", "group i2c"},
		{errors.New("sysfs-i2c: input/output error"), nil, "open I2C bus 7: sysfs-i2c: input/output error", "dmesg"},
	}
	for _, tt := range tests {
		m := &machine{refuse: tt.said}
		b := &Bus{number: 7, open: m.open}
		err := b.Tx(0x29, []byte{0}, nil)
		require.ErrorIs(t, err, sensor.ErrBus)
		require.ErrorIs(t, err, tt.said)
		require.EqualError(t, err, tt.error)
		if tt.cause != nil {
			require.ErrorIs(t, err, tt.cause)
		}
		var open *OpenError
		require.ErrorAs(t, err, &open)
		assert.Contains(t, open.Hint(), tt.hint)
		assert.Equal(t, sensor.ErrBus, sensor.ClassifyI2C(err))
	}
}

// TestABusThatIsNotThere opens a bus that no machine has, by the real library.
func TestABusThatIsNotThere(t *testing.T) {
	t.Parallel()
	err := New(9999).Check()
	require.ErrorIs(t, err, sensor.ErrBus)
	require.ErrorIs(t, err, fs.ErrNotExist)
}

func Example() {
	bus := New(9999)
	defer bus.Close()
	err := bus.Check()
	fmt.Println(err)
	// Output: open I2C bus 9999: there is no /dev/i2c-9999
}
