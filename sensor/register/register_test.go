package register_test

import (
	"fmt"
	"testing"

	"nightjar/sensor"
	"nightjar/sensor/register"
	"nightjar/sensor/sim"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
	"periph.io/x/conn/v3/i2c/i2ctest"
)

func TestTransfers(t *testing.T) {
	t.Parallel()
	b := &i2ctest.Playback{DontPanic: true, Ops: []i2ctest.IO{
		{Addr: 0x29, W: []byte{0x01, 0x0F}, R: []byte{0xEB, 0xAA}},
		{Addr: 0x29, W: []byte{0x00, 0x6C}, R: []byte{0, 0, 0x94, 0x5C}},
		{Addr: 0x29, W: []byte{0x00, 0x6C, 0, 0, 0x94, 0x5C}},
		{Addr: 0x29, W: []byte{0x00, 0x24, 0x05, 0x00}},
		{Addr: 0x29, W: []byte{0x00, 0x30}, R: []byte{0x11}},
		{Addr: 0x29, W: []byte{0x00, 0x30, 0x03}},
		{Addr: 0x29, W: []byte{0x00, 0x01, 0x30}},
		{Addr: 0x30, W: []byte{0x00, 0x89}, R: []byte{1, 2, 3}},
	}}
	d := register.Wide(b, 0x29, "VL53L4CD")
	id, err := d.Read16("read identity", 0x010F)
	require.NoError(t, err)
	assert.Equal(t, uint16(0xEBAA), id)
	period, err := d.Read32("read period", 0x6C)
	require.NoError(t, err)
	assert.Equal(t, uint32(0x945C), period)
	require.NoError(t, d.Write32("write period", 0x6C, period))
	require.NoError(t, d.Write16("write", 0x24, 0x0500))
	require.NoError(t, d.Update("set", 0x30, 0x01, 0x02))
	require.NoError(t, d.Write("move", 1, 0x30))
	d.SetAddr(0x30)
	got := make([]byte, 3)
	require.NoError(t, d.Read("read", 0x89, got))
	assert.Equal(t, []byte{1, 2, 3}, got)
	assert.Equal(t, "VL53L4CD at 0x30", d.String())
	require.NoError(t, b.Close())
}

func TestNarrowIndex(t *testing.T) {
	t.Parallel()
	b := &i2ctest.Playback{DontPanic: true, Ops: []i2ctest.IO{{Addr: 0x29, W: []byte{0xC0}, R: []byte{0xEE}}}}
	id, err := register.Narrow(b, 0x29, "VL53L0X").Read8("read identity", 0xC0)
	require.NoError(t, err)
	assert.Equal(t, uint8(0xEE), id)
	require.NoError(t, b.Close())
}

func TestErrorsSayWhatWhereAndWhichClass(t *testing.T) {
	t.Parallel()
	d := register.Wide(sim.NewBus("I2C1"), 0x29, "VL53L4CD")
	_, err := d.Read8("read result", 0x89)
	require.ErrorIs(t, err, sensor.ErrAbsent)
	require.ErrorIs(t, err, sim.ErrNACK)
	assert.EqualError(t, err, "read result of VL53L4CD at 0x29: no answer: sysfs-i2c: remote I/O error")
	err = d.Errorf("check", sensor.ErrIdentity, "0x010f reads %04x", 0xEACC)
	require.ErrorIs(t, err, sensor.ErrIdentity)
	assert.EqualError(t, err, "check of VL53L4CD at 0x29: another chip answers: 0x010f reads eacc")
}

func Example() {
	d := register.Wide(sim.NewBus("I2C1"), 0x29, "VL53L4CD")
	_, err := d.Read16("read identity", 0x010F)
	fmt.Println(err)
	// Output: read identity of VL53L4CD at 0x29: no answer: sysfs-i2c: remote I/O error
}
