package main

import (
	"os"
	"regexp"
	"strings"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
)

// Every command that the worked week shows is one that the program has, with flags that it takes.
func TestTheWorkedWeekUsesCommandsThatThereAre(t *testing.T) {
	text, err := os.ReadFile("../../deploy/week.md")
	require.NoError(t, err)
	word := regexp.MustCompile(`"[^"]*"|\S+`)
	n := 0
	for line := range strings.Lines(string(text)) {
		line, ok := strings.CutPrefix(line, "$ nightjar ")
		if !ok {
			continue
		}
		n++
		var args []string
		for _, w := range word.FindAllString(line, -1) {
			args = append(args, strings.Trim(w, `"`))
		}
		p := &program{getenv: func(string) string { return "" }}
		cmd, rest, err := p.command().Find(args)
		require.NoError(t, err, line)
		require.NoError(t, cmd.ParseFlags(rest), line)
		assert.True(t, cmd.Runnable(), line)
		if cmd.Args != nil {
			assert.NoError(t, cmd.Args(cmd, cmd.Flags().Args()), line)
		}
	}
	assert.Greater(t, n, 20)
}
