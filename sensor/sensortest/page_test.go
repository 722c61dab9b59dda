package sensortest_test

import (
	"os"
	"path/filepath"
	"regexp"
	"strings"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
)

// TestThePageNamesTestsThatExist: the table of what sensors do wrong is numbered without gaps, and each line names tests
// that there are.
func TestThePageNamesTestsThatExist(t *testing.T) {
	t.Parallel()
	root := filepath.Join("..", "..")
	page, err := os.ReadFile(filepath.Join(root, "deploy", "rangers.md"))
	require.NoError(t, err)
	rows := regexp.MustCompile(`(?m)^\| *(\d+) \|(.*)\|$`).FindAllStringSubmatch(string(page), -1)
	require.Len(t, rows, 34)
	for _, row := range rows {
		cells := strings.Split(row[2], "|")
		require.Len(t, cells, 4, "line %s", row[1])
		for _, ref := range strings.Split(cells[3], ",") {
			folder, name, ok := strings.Cut(strings.TrimSpace(ref), " ")
			require.True(t, ok, "line %s: %q", row[1], ref)
			assert.True(t, hasTest(t, filepath.Join(root, folder), name), "line %s: no %s in %s", row[1], name, folder)
		}
	}
}

// hasTest reports whether a folder's tests have a function.
func hasTest(t *testing.T, folder, name string) bool {
	t.Helper()
	files, err := filepath.Glob(filepath.Join(folder, "*_test.go"))
	require.NoError(t, err)
	for _, f := range files {
		code, err := os.ReadFile(f)
		require.NoError(t, err)
		if strings.Contains(string(code), "func "+name+"(t *testing.T)") {
			return true
		}
	}
	return false
}
