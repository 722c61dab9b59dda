package sensor_test

import (
	"errors"
	"fmt"
	"io"
	"syscall"
	"testing"

	"nightjar/rise"
	"nightjar/sensor"

	"github.com/stretchr/testify/assert"
)

func TestClassifyI2C(t *testing.T) {
	t.Parallel()
	tests := []struct {
		err  error
		want error
	}{
		{nil, nil},
		{syscall.EREMOTEIO, sensor.ErrAbsent},
		{syscall.ENXIO, sensor.ErrAbsent},
		{syscall.ENODEV, sensor.ErrBus},
		{syscall.ETIMEDOUT, sensor.ErrBus},
		{syscall.EAGAIN, sensor.ErrBus},
		{syscall.EBUSY, sensor.ErrBus},
		{syscall.EIO, sensor.ErrBus},
		{io.ErrClosedPipe, sensor.ErrBus},
	}
	for _, tt := range tests {
		assert.Equal(t, tt.want, sensor.ClassifyI2C(tt.err), "%v", tt.err)
		if tt.err == nil {
			continue
		}
		// As periph's host/sysfs/i2c.go words it: the number is lost, the text is not.
		worded := fmt.Errorf("sysfs-i2c: %v", tt.err)
		assert.Equal(t, tt.want, sensor.ClassifyI2C(worded), "%v", worded)
	}
}

func TestFault(t *testing.T) {
	t.Parallel()
	for err, want := range map[error]rise.Fault{
		nil:                 rise.FaultNone,
		sensor.ErrBus:       rise.FaultBus,
		sensor.ErrAbsent:    rise.FaultAbsent,
		sensor.ErrIdentity:  rise.FaultIdentity,
		sensor.ErrTimeout:   rise.FaultTimeout,
		sensor.ErrHardware:  rise.FaultHardware,
		sensor.ErrStuck:     rise.FaultStuck,
		errors.New("other"): rise.FaultBus,
	} {
		assert.Equal(t, want, sensor.Fault(err), "%v", err)
		if err != nil {
			assert.Equal(t, want, sensor.Fault(fmt.Errorf("read: %w", err)), "%v", err)
		}
	}
}
