package sensortest

import (
	"encoding/hex"
	"encoding/json"
	"os"
	"path/filepath"
	"runtime"
	"slices"
	"testing"

	"nightjar/sensor/sim"

	"github.com/stretchr/testify/require"
)

// Trace is the recorded traffic of an independent public driver, from testdata/traces.
type Trace struct {
	Chip         string `json:"chip"`
	Driver       string `json:"driver"`
	AddressBytes int    `json:"address_bytes"`
	Ops          []Op   `json:"ops"`
	// Before holds the last byte written to each register before the first start, both in hexadecimal.
	Before map[string]string `json:"written_registers_before_start"`
}

// Op is one transfer of a trace, or a marker if Phase is set.
type Op struct {
	Phase   string          `json:"phase"`
	W       Hex             `json:"w"`
	R       Hex             `json:"r"`
	Decoded json.RawMessage `json:"decoded"`
}

// Hex is bytes that JSON gives as a hexadecimal string.
type Hex []byte

// UnmarshalText implements encoding.TextUnmarshaler.
func (h *Hex) UnmarshalText(b []byte) error {
	var err error
	*h, err = hex.DecodeString(string(b))
	return err
}

// LoadTrace reads a trace by its file name.
func LoadTrace(t testing.TB, name string) Trace {
	t.Helper()
	return load[Trace](t, name)
}

// Vectors reads the input and output pairs of a file of vectors.
func Vectors[T any](t testing.TB, name string) []T {
	t.Helper()
	v := load[struct {
		Vectors []T `json:"vectors"`
	}](t, name).Vectors
	require.NotEmpty(t, v, name)
	return v
}

func load[T any](t testing.TB, name string) T {
	t.Helper()
	_, here, _, _ := runtime.Caller(0)
	raw, err := os.ReadFile(filepath.Join(filepath.Dir(here), "..", "..", "testdata", "traces", name))
	require.NoError(t, err)
	var v T
	require.NoError(t, json.Unmarshal(raw, &v), name)
	return v
}

// Phase returns the transfers after a marker, up to the next one.
func (tr Trace) Phase(t testing.TB, name string) []Op {
	t.Helper()
	var ops []Op
	in := false
	for _, op := range tr.Ops {
		if op.Phase != "" {
			in = op.Phase == name
			continue
		}
		if in && len(op.W) > 0 {
			ops = append(ops, op)
		}
	}
	require.NotEmpty(t, ops, "phase %s", name)
	return ops
}

// Writes returns the writes of transfers, split into single registers with a two-byte index, or one byte where
// indexBytes is 1: index then one byte. Reads are left out.
func Writes(ops []Op, indexBytes int) []string {
	var out []string
	for _, op := range ops {
		if len(op.R) == 0 {
			out = append(out, Split(op.W, indexBytes)...)
		}
	}
	return out
}

// Split turns a block write into single ones, in hexadecimal: index then one byte.
func Split(w []byte, indexBytes int) []string {
	if len(w) < indexBytes {
		return nil
	}
	at := 0
	for _, b := range w[:indexBytes] {
		at = at<<8 | int(b)
	}
	var out []string
	for i, b := range w[indexBytes:] {
		reg := at + i
		one := []byte{byte(reg), b}
		if indexBytes == 2 {
			one = []byte{byte(reg >> 8), byte(reg), b}
		}
		out = append(out, hex.EncodeToString(one))
	}
	return out
}

// Recorder keeps what a driver writes, register by register. Give its Watch to sim.Bus.Watch.
type Recorder struct {
	IndexBytes int
	// Writes holds every write in order, as Split has them.
	Writes []string
}

// Watch is called for every transfer that succeeded.
func (r *Recorder) Watch(t sim.Transfer) {
	if len(t.R) == 0 {
		r.Writes = append(r.Writes, Split(t.W, r.IndexBytes)...)
	}
}

// Last returns the last byte of each register before the first write of start, both in hexadecimal, by index.
func (r *Recorder) Last(start string) map[string]string {
	last := map[string]string{}
	for _, w := range r.Writes {
		if w == start {
			break
		}
		last[w[:2*r.IndexBytes]] = w[2*r.IndexBytes:]
	}
	return last
}

// RequireInOrder fails unless all of want stand in got in that order, whatever stands between.
func RequireInOrder(t testing.TB, want, got []string) {
	t.Helper()
	rest := got
	for i, w := range want {
		at := slices.Index(rest, w)
		require.GreaterOrEqual(t, at, 0, "write %d of %d, %s, is missing or out of order; written: %v", i+1, len(want), w, got)
		rest = rest[at+1:]
	}
}
