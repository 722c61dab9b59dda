package main

import (
	"go/ast"
	"go/parser"
	"go/token"
	"io/fs"
	"os"
	"path/filepath"
	"slices"
	"strconv"
	"strings"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
)

const (
	moduleRoot = "../.."
	module     = "nightjar/"
)

// source is one Go file that is no test.
type source struct {
	pkg, name string // folder below the module's root, path
	file      *ast.File
}

// sources parses every Go file of the module that is no test.
func sources(t *testing.T) []source {
	t.Helper()
	var all []source
	set := token.NewFileSet()
	err := filepath.WalkDir(moduleRoot, func(path string, d fs.DirEntry, err error) error {
		if err != nil {
			return err
		}
		if d.IsDir() && path != moduleRoot && (strings.HasPrefix(d.Name(), ".") || d.Name() == "testdata" || isModule(path)) {
			return fs.SkipDir
		}
		if d.IsDir() || !strings.HasSuffix(path, ".go") || strings.HasSuffix(path, "_test.go") {
			return nil
		}
		file, err := parser.ParseFile(set, path, nil, parser.ParseComments|parser.SkipObjectResolution)
		if err != nil {
			return err
		}
		pkg, err := filepath.Rel(moduleRoot, filepath.Dir(path))
		all = append(all, source{filepath.ToSlash(pkg), path, file})
		return err
	})
	require.NoError(t, err)
	require.Greater(t, len(all), 50, "the module's files were not found")
	return all
}

// isModule tells a module of its own within this one.
func isModule(path string) bool {
	_, err := os.Stat(filepath.Join(path, "go.mod"))
	return err == nil
}

func (s source) imports() []string {
	var paths []string
	for _, i := range s.file.Imports {
		path, err := strconv.Unquote(i.Path.Value)
		if err == nil {
			paths = append(paths, path)
		}
	}
	return paths
}

// within tells that path is the package or below it.
func within(path, pkg string) bool { return path == pkg || strings.HasPrefix(path, pkg+"/") }

// of ours, a package outside cmd may import packages of its own part and rise. Whatever is not listed may not exist.
var mayImport = map[string][]string{
	"rise":   {"rise"},
	"sensor": {"sensor", "rise"},
	"store":  {"store", "rise"},
	"notify": {"notify", "rise"},
	"cmd":    {"cmd", "sensor", "store", "notify", "rise"},
	"deploy": {"deploy"},
}

// The arrows run one way: cmd, then sensor, store and notify, which do not know one another, then rise.
func TestImportsRunOneWay(t *testing.T) {
	t.Parallel()
	for _, s := range sources(t) {
		part, _, _ := strings.Cut(s.pkg, "/")
		allowed, ok := mayImport[part]
		require.True(t, ok, "%s is in no known part", s.name)
		for _, path := range s.imports() {
			ours, found := strings.CutPrefix(path, module)
			if found {
				assert.True(t, slices.ContainsFunc(allowed, func(a string) bool { return within(ours, a) }), "%s imports %s", s.name, path)
			}
		}
	}
}

// Package rise does no input or output, logs nothing and reads no clock.
func TestRiseIsPure(t *testing.T) {
	t.Parallel()
	forbidden := []string{"os", "net", "log", "io/fs", "io/ioutil", "syscall", "unsafe", "math/rand", "go.etcd.io/bbolt", "golang.org/x/sys", "periph.io/x"}
	clocks := []string{"Now", "Since", "Until", "Sleep", "After", "AfterFunc", "NewTimer", "NewTicker", "Tick", "Local"}
	files := 0
	for _, s := range sources(t) {
		if !within(s.pkg, "rise") {
			continue
		}
		files++
		for _, path := range s.imports() {
			assert.False(t, slices.ContainsFunc(forbidden, func(f string) bool { return within(path, f) }), "%s imports %s", s.name, path)
		}
		ast.Inspect(s.file, func(n ast.Node) bool {
			if sel, ok := n.(*ast.SelectorExpr); ok {
				x, ok := sel.X.(*ast.Ident)
				assert.False(t, ok && x.Name == "time" && slices.Contains(clocks, sel.Sel.Name), "%s uses time.%s", s.name, sel.Sel.Name)
			}
			return true
		})
	}
	assert.Greater(t, files, 10)
}

// Every folder with Go files has exactly one package comment, and it says something.
func TestEachFolderHasOnePackageComment(t *testing.T) {
	t.Parallel()
	comments := map[string][]string{}
	for _, s := range sources(t) {
		if _, ok := comments[s.pkg]; !ok {
			comments[s.pkg] = nil
		}
		if s.file.Doc != nil {
			comments[s.pkg] = append(comments[s.pkg], s.name)
			want := "Package " + s.file.Name.Name + " "
			if s.file.Name.Name == "main" {
				want = "Command "
			}
			assert.True(t, strings.HasPrefix(s.file.Doc.Text(), want), "%s: the package comment begins %q", s.name, want)
		}
	}
	for pkg, files := range comments {
		assert.Len(t, files, 1, "package comments of %s", pkg)
	}
}
