package store_test

import (
	"fmt"
	"os"
	"path/filepath"
	"time"

	"nightjar/rise"
	"nightjar/store"
)

func Example() {
	dir, err := os.MkdirTemp("", "nightjar")
	if err != nil {
		fmt.Println(err)
		return
	}
	defer os.RemoveAll(dir)
	db, err := store.Open(filepath.Join(dir, "nightjar.db"), store.Options{BootID: "5d1e7a90-0000", Device: "kitchen"})
	if err != nil {
		fmt.Println(err)
		return
	}
	defer db.Close()
	at := func(d time.Duration) rise.Moment {
		return rise.Moment{Stamp: rise.Stamp{Boot: db.Boot(), At: d}, Wall: time.Date(2026, 5, 1, 21, 0, 0, 0, time.UTC).Add(d)}
	}

	_, run, err := db.Act(rise.Action{
		Kind: rise.ActionStart, Station: "sill", At: at(0),
		Start: &rise.Run{Kind: rise.RunDough, Name: "rye", Target: 2},
	})
	fmt.Println("run", run.Number, err)
	for i := range 3 {
		r := rise.Reading{Stamp: at(time.Duration(i) * 30 * time.Second).Stamp}
		r.RangeMM = rise.Known(82.4 - 0.1*float64(i))
		db.Add("sill", r)
	}
	for r, err := range db.Readings("sill", run.Started.Stamp, store.LastStamp) {
		fmt.Println(r.At, r.RangeMM, err)
	}
	a, fresh, err := db.Issue(rise.Alert{Kind: rise.AlertReady, Station: "sill", Run: run.Number, Episode: 1, Issued: at(time.Hour)}, []string{"mqtt"})
	fmt.Println(a.ID, fresh, err)
	// Output:
	// run 1 <nil>
	// 0s 82.4 <nil>
	// 30s 82.3 <nil>
	// 1m0s 82.2 <nil>
	// kitchen-5d1e7a90-3600000 true <nil>
}
