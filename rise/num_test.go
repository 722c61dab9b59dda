package rise

import (
	"encoding/json"
	"math"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
)

func TestNoNumberIsEverNaNOrInfinite(t *testing.T) {
	for _, v := range []float64{math.NaN(), math.Inf(1), math.Inf(-1)} {
		n := Known(v)
		assert.False(t, n.IsKnown())
		assert.True(t, n.IsZero())
		assert.Equal(t, Num{}, n)
		assert.Equal(t, "", n.Text(2))
		assert.Equal(t, "unknown", n.String())
	}
}

func TestZeroIsKnown(t *testing.T) {
	n := Known(0)
	v, ok := n.Get()
	assert.True(t, ok)
	assert.Zero(t, v)
	assert.Equal(t, "0.00", n.Text(2))
	assert.Zero(t, n.Or(7))
	assert.Equal(t, 7.0, Num{}.Or(7))
	assert.Equal(t, "1.25", Known(1.25).String())
}

func TestNumInJSON(t *testing.T) {
	type pair struct {
		A Num `json:"a"`
		B Num `json:"b,omitzero"`
	}
	b, err := json.Marshal(pair{A: Num{}, B: Num{}})
	require.NoError(t, err)
	assert.JSONEq(t, `{"a":null}`, string(b))
	b, err = json.Marshal(pair{A: Known(2.5), B: Known(0)})
	require.NoError(t, err)
	assert.JSONEq(t, `{"a":2.5,"b":0}`, string(b))
	p := pair{A: Known(1), B: Known(1)}
	require.NoError(t, json.Unmarshal([]byte(`{"a":null,"b":3}`), &p))
	assert.Equal(t, pair{B: Known(3)}, p)
	for _, bad := range []string{`"3"`, `{}`, `NaN`, `1e999`, `true`} {
		assert.Error(t, json.Unmarshal([]byte(bad), new(Num)), bad)
	}
}

func FuzzNumJSON(f *testing.F) {
	f.Add([]byte("null"))
	f.Add([]byte("-1.5e-3"))
	f.Add([]byte("1e400"))
	f.Fuzz(func(t *testing.T, data []byte) {
		var n, again Num
		if json.Unmarshal(data, &n) != nil {
			return
		}
		b, err := json.Marshal(n)
		require.NoError(t, err)
		require.NoError(t, json.Unmarshal(b, &again))
		require.Equal(t, n, again)
	})
}
