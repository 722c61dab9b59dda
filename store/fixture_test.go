package store_test

import (
	"bytes"
	"compress/gzip"
	"encoding/json"
	"flag"
	"fmt"
	"io"
	"os"
	"path/filepath"
	"strings"
	"testing"
	"time"

	"nightjar/rise"
	"nightjar/store"
	"nightjar/store/recording"
	"nightjar/store/storetest"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
)

var update = flag.Bool("update", false, "write the store of the current schema in testdata anew")

// everything is what a fixture holds, as read through the store.
type everything struct {
	Device    string
	Cases     []rise.Case
	Loose     []rise.Action
	Alerts    []rise.Alert
	Pending   []rise.Delivery
	Delivered []rise.Delivery
	Jars      []rise.Jar
	Starters  []store.Document
	Recipes   []store.Document
	Summaries []rise.Summary
	Last      rise.Reading
}

func readEverything(t *testing.T, db *store.DB) everything {
	t.Helper()
	e := everything{Device: db.Device()}
	runs, err := db.Runs()
	require.NoError(t, err)
	for _, r := range runs {
		c, err := db.Case(r.Number)
		require.NoError(t, err)
		e.Cases = append(e.Cases, c)
		as, err := db.Alerts(r.Station, r.Number)
		require.NoError(t, err)
		e.Alerts = append(e.Alerts, as...)
	}
	e.Loose, err = db.Actions(0)
	require.NoError(t, err)
	e.Pending, err = db.Pending("push", 10)
	require.NoError(t, err)
	e.Delivered, err = db.Deliveries(e.Alerts[0].ID)
	require.NoError(t, err)
	e.Jars, err = db.Jars()
	require.NoError(t, err)
	e.Starters, err = db.Starters()
	require.NoError(t, err)
	e.Recipes, err = db.Recipes()
	require.NoError(t, err)
	e.Summaries, err = db.Summaries("liese")
	require.NoError(t, err)
	e.Last, _, err = db.LastReading("sill")
	require.NoError(t, err)
	return e
}

// makeEverything fills a store with two boots and at least one of everything.
func makeEverything(t *testing.T, path string) {
	t.Helper()
	db, err := store.Open(path, store.Options{BootID: "3c0ffee1-first", Device: "kitchen"})
	require.NoError(t, err)
	do := func(a rise.Action, at time.Duration) *rise.Run {
		a.At = storetest.At(db, at)
		_, run, err := db.Act(a)
		require.NoError(t, err)
		return run
	}
	anchor := func(at time.Duration, synced bool) {
		require.NoError(t, db.Anchor(rise.Anchor{Stamp: rise.Stamp{Boot: db.Boot(), At: at}, Wall: storetest.At(db, at).Wall, Synced: synced}))
	}
	anchor(0, false)
	for _, mm := range []float64{139.5, 140} {
		_, err = db.PutJar(rise.Jar{Name: "weck", FloorMM: mm, UFloorMM: 0.5, Profile: rise.Profile{Shape: rise.ShapeCylinder, DiameterMM: 80}})
		require.NoError(t, err)
	}
	_, err = db.PutStarter("liese", json.RawMessage(`{"flour":"rye"}`))
	require.NoError(t, err)
	_, err = db.PutRecipe("loaf", json.RawMessage(`{"hydration_pct":72}`))
	require.NoError(t, err)
	do(rise.Action{ID: "f", Kind: rise.ActionFeed, Feed: &rise.Feeding{Starter: "liese", SeedG: 20, FlourG: 40, WaterG: 40}}, time.Minute)
	do(rise.Action{ID: "s", Kind: rise.ActionStart, Station: "sill", Start: &rise.Run{
		Kind: rise.RunDough, Name: "rye & wheat", Jar: "weck", JarVersion: 1, Target: 2, Starter: "liese", InoculationPct: rise.Known(18),
	}}, time.Hour)
	k := newKitchen(5, db.Boot())
	k.n = 120
	for range 150 {
		db.Add("sill", k.next())
	}
	do(rise.Action{ID: "m", Kind: rise.ActionMark, Station: "sill", Mark: "folded"}, 90*time.Minute)
	a, _, err := db.Issue(rise.Alert{Kind: rise.AlertReady, Level: rise.LevelWakes, Station: "sill", Run: 1, Episode: 1, Issued: storetest.At(db, 2*time.Hour), Text: "doubled"}, []string{"mqtt", "push"})
	require.NoError(t, err)
	require.NoError(t, db.Settle("mqtt", a.ID, rise.DeliveryDelivered, 2, ""))
	anchor(2*time.Hour, true)
	require.NoError(t, db.Close())

	db, err = store.Open(path, store.Options{BootID: "3c0ffee2-second"})
	require.NoError(t, err)
	bad := rise.Reading{Stamp: rise.Stamp{Boot: db.Boot(), At: time.Minute}, Fault: rise.FaultView}
	bad.Of, bad.Statuses[rise.StatusWeak] = 20, 20
	db.Add("sill", bad)
	run := do(rise.Action{ID: "e", Kind: rise.ActionEnd, Station: "sill"}, 2*time.Minute)
	require.NoError(t, db.PutSummary(rise.Summary{Run: *run, Algorithm: 3, PeakMultiple: rise.Known(2.2), Growth: []float64{1, 2.5}}))
	do(rise.Action{ID: "s2", Kind: rise.ActionStart, Station: "sill", Start: &rise.Run{Kind: rise.RunDough, Target: 1.8, Starter: "liese"}}, 3*time.Minute)
	require.NoError(t, db.Close())
}

// TestStoresOfEverySchemaAreRead: a store that a released version wrote is read for ever, and as it was.
func TestStoresOfEverySchemaAreRead(t *testing.T) {
	if *update {
		path := filepath.Join(t.TempDir(), "nightjar.db")
		makeEverything(t, path)
		name := fmt.Sprintf("testdata/schema-%d", store.Schema)
		zip(t, path, name+".db.gz")
		db := mustOpen(t, path, "reader")
		writeJSON(t, name+".json", readEverything(t, db))
		require.NoError(t, db.Close())
	}
	files, err := filepath.Glob("testdata/schema-*.db.gz")
	require.NoError(t, err)
	require.NotEmpty(t, files)
	for _, file := range files {
		t.Run(filepath.Base(file), func(t *testing.T) {
			path := filepath.Join(t.TempDir(), "nightjar.db")
			unzip(t, file, path)
			db := storetest.OpenAt(t, path, store.Options{BootID: "reader"})
			require.Empty(t, db.Damaged())
			got, err := json.MarshalIndent(readEverything(t, db), "", " ")
			require.NoError(t, err)
			want, err := os.ReadFile(strings.TrimSuffix(file, ".db.gz") + ".json")
			require.NoError(t, err)
			assert.Equal(t, string(want), string(got)+"\n")
			assert.EqualValues(t, 3, db.Boot())
		})
	}
}

// TestAnOldStoreThatIsDamagedIsMended: repair works on what earlier versions wrote too.
func TestAnOldStoreThatIsDamagedIsMended(t *testing.T) {
	path := filepath.Join(t.TempDir(), "nightjar.db")
	unzip(t, "testdata/schema-1.db.gz", path)
	db := mustOpen(t, path, "reader")
	want := readEverything(t, db)
	require.NoError(t, db.Close())
	_, err := store.Repair(path)
	require.NoError(t, err)
	db = storetest.OpenAt(t, path, store.Options{BootID: "reader"})
	assert.Equal(t, want, readEverything(t, db))
}

func zip(t *testing.T, from, to string) {
	b, err := os.ReadFile(from)
	require.NoError(t, err)
	f, err := os.Create(to)
	require.NoError(t, err)
	z := gzip.NewWriter(f)
	_, err = z.Write(b)
	require.NoError(t, err)
	require.NoError(t, z.Close())
	require.NoError(t, f.Close())
}

func unzip(t *testing.T, from, to string) {
	t.Helper()
	f, err := os.Open(from)
	require.NoError(t, err)
	defer f.Close()
	z, err := gzip.NewReader(f)
	require.NoError(t, err)
	b, err := io.ReadAll(z)
	require.NoError(t, err)
	require.NoError(t, os.WriteFile(to, b, 0o600))
}

func writeJSON(t *testing.T, path string, v any) {
	b, err := json.MarshalIndent(v, "", " ")
	require.NoError(t, err)
	require.NoError(t, os.WriteFile(path, append(b, '\n'), 0o644))
}

func TestAnExportHoldsWhatTheStoreHolds(t *testing.T) {
	path := filepath.Join(t.TempDir(), "nightjar.db")
	unzip(t, "testdata/schema-1.db.gz", path)
	db := storetest.OpenAt(t, path, store.Options{BootID: "reader"})
	want, err := db.Case(1)
	require.NoError(t, err)
	want.Past = nil // no part of a recording
	var csv, doc bytes.Buffer
	w := recording.NewWriter(&csv, false)
	w.Actions(want.Actions)
	for _, r := range want.Readings {
		require.NoError(t, w.Write(r, rise.Estimate{}))
	}
	require.NoError(t, w.Flush())
	require.NoError(t, recording.WriteJSON(&doc, want))
	got, err := recording.Read(&doc, "export.json", recording.Options{})
	require.NoError(t, err)
	assert.Equal(t, want, got)
	got, err = recording.Read(&csv, "export.csv", recording.Options{})
	require.NoError(t, err)
	assert.Equal(t, want.Actions, got.Actions)
	require.Len(t, got.Readings, len(want.Readings))
	for i, r := range got.Readings {
		r.Quality = want.Readings[i].Quality // CSV has no column of it
		require.Equal(t, want.Readings[i], r)
	}
}
