package ds18b20_test

import (
	"context"
	"fmt"
	"testing/fstest"
	"time"

	"nightjar/sensor/ds18b20"
	"nightjar/sensor/sim"
)

func Example() {
	files := fstest.MapFS{"28-0316a2795cff/w1_slave": {Data: []byte(
		"4b 01 4b 46 7f ff 05 10 e1 : crc=e1 YES\n4b 01 4b 46 7f ff 05 10 e1 t=20687\n")}}
	bus := ds18b20.New(files, sim.NewClock(time.Now(), 0), nil) // ds18b20.Open reads this machine's
	probe, err := bus.Probe("")
	if err != nil {
		fmt.Println(err)
		return
	}
	t, err := probe.Temperature(context.Background())
	fmt.Println(probe, t, err)
	// Output: DS18B20 28-0316a2795cff 20.687°C <nil>
}
