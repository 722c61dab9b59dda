package desk_test

import (
	"testing"
	"time"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"nightjar/rise"
)

func TestEndTellsTheMultipleAtTakingOut(t *testing.T) {
	t.Parallel()
	r := newRoom(t)
	r.start(t, rise.Run{Target: 1.9})
	begun := r.clock.boot
	r.clock.pass(4 * time.Hour)
	r.read(begun)
	done, err := r.Do(t.Context(), rise.Action{Kind: rise.ActionEnd})
	require.NoError(t, err)
	require.Len(t, done.Notices, 2)
	assert.Regexp(t, `^Taken out at ×(1\.9[89]|2\.0[012]) ± 0\.\d\d; the target was ×1\.9\.$`, done.Notices[0])
	assert.Contains(t, done.Notices[1], "--run 1")
}

func TestABakedBreadIsAskedForItsOutcomeUntilItIsTold(t *testing.T) {
	t.Parallel()
	r := newRoom(t)
	r.start(t, rise.Run{Name: "loaf"})
	_, err := r.Do(t.Context(), rise.Action{Kind: rise.ActionEnd})
	require.NoError(t, err)
	st, err := r.Status()
	require.NoError(t, err)
	assert.Empty(t, st.OutcomeWanted, "it is not baked yet")
	r.clock.pass(12 * time.Hour)
	done, err := r.Do(t.Context(), rise.Action{Kind: rise.ActionMark, Mark: "baked", Run: 1})
	require.NoError(t, err)
	require.Len(t, done.Notices, 1)
	assert.Contains(t, done.Notices[0], "nightjar outcome --run 1 --spread tall|held|flat")
	st, err = r.Status()
	require.NoError(t, err)
	require.Len(t, st.OutcomeWanted, 1)
	assert.Equal(t, "loaf", st.OutcomeWanted[0].Name)
	_, err = r.Do(t.Context(), rise.Action{Kind: rise.ActionOutcome, Run: 1, Outcome: &rise.Outcome{Crumb: "open"}})
	require.NoError(t, err)
	st, err = r.Status()
	require.NoError(t, err)
	assert.Empty(t, st.OutcomeWanted)
}
