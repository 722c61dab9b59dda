package gpioline_test

import (
	"fmt"
	"testing"

	"nightjar/sensor"
	"nightjar/sensor/gpioline"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
	"periph.io/x/conn/v3/gpio/gpioreg"
	"periph.io/x/conn/v3/gpio/gpiotest"
)

func TestOpen(t *testing.T) {
	_, err := gpioline.Open("GPIO4711")
	require.ErrorIs(t, err, sensor.ErrBus)
	assert.ErrorContains(t, err, "GPIO4711")
	line := &gpiotest.Pin{N: "GPIO4711"}
	require.NoError(t, gpioreg.Register(line))
	t.Cleanup(func() { assert.NoError(t, gpioreg.Unregister("GPIO4711")) })
	got, err := gpioline.Open("GPIO4711")
	require.NoError(t, err)
	assert.Same(t, line, got)
}

func ExampleOpen() {
	_, err := gpioline.Open("GPIO999")
	fmt.Println(err != nil)
	// Output: true
}
