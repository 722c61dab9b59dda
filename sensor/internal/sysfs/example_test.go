package sysfs_test

import (
	"context"
	"fmt"
	"testing/fstest"
	"time"

	"nightjar/sensor/internal/sysfs"
)

func Example() {
	files := fstest.MapFS{"hwmon2/temp1_input": {Data: []byte("21375\n")}}
	var call sysfs.Call[float64]
	milli, err := call.Do(context.Background(), time.Second, func() float64 {
		v, err := sysfs.ReadFloat(files, "hwmon2/temp1_input")
		if err != nil {
			return 0
		}
		return v
	})
	fmt.Println(milli/1000, err)
	// Output: 21.375 <nil>
}
