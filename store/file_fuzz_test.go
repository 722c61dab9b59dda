package store_test

import (
	"bytes"
	"compress/gzip"
	"errors"
	"io"
	"os"
	"path/filepath"
	"testing"
	"time"

	"nightjar/rise"
	"nightjar/store"

	"github.com/stretchr/testify/require"
)

// FuzzFile gives the store a file of anything: it is checked, opened and mended without a panic, and what cannot be
// opened says why.
func FuzzFile(f *testing.F) {
	z, err := os.Open("testdata/schema-1.db.gz")
	require.NoError(f, err)
	r, err := gzip.NewReader(z)
	require.NoError(f, err)
	whole, err := io.ReadAll(r)
	require.NoError(f, err)
	whole = bytes.TrimRight(whole, "\x00")
	f.Add(whole, 0, byte(0))
	f.Add(whole[:8192], 0, byte(0))
	f.Add(whole, 4096*3+10, byte(0xff))
	f.Add(whole, 4096*4+16, byte(0x80))
	f.Fuzz(func(t *testing.T, b []byte, at int, x byte) {
		if len(b) > 1<<20 {
			return
		}
		b = append(bytes.Clone(b), make([]byte, 4096)...)
		if at >= 0 && at < len(b) {
			b[at] ^= x
		}
		path := filepath.Join(t.TempDir(), "nightjar.db")
		require.NoError(t, os.WriteFile(path, b, 0o600))
		_, err := store.Check(path)
		require.NoError(t, err)
		for _, repair := range []bool{false, true} {
			db, err := store.Open(path, store.Options{BootID: "fuzz", Repair: repair, Timeout: 50 * time.Millisecond})
			if err != nil {
				require.True(t, errors.Is(err, store.ErrDamaged) || errors.Is(err, store.ErrNewer) || errors.Is(err, store.ErrInvalid), "%v", err)
				continue
			}
			_, _ = db.Runs()
			_, _ = db.Case(1)
			_, _ = db.Active("sill")
			for range db.Readings("sill", rise.Stamp{}, store.LastStamp) {
			}
			_ = db.Close()
		}
	})
}
