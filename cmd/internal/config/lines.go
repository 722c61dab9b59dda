package config

import (
	"strconv"
	"strings"

	"github.com/pelletier/go-toml/v2/unstable"
)

// lines maps each dotted key of a document to its line. The elements of a list of tables are numbered from 0:
// "station.1.every"; the table itself has a line too. The document must have been decoded without an error.
func lines(document []byte) map[string]int {
	at := map[string]int{}
	count := map[string]int{}
	var p unstable.Parser
	p.Reset(document)
	table := ""
	for p.NextExpression() {
		e := p.Expression()
		key, line := keyOf(&p, e)
		switch e.Kind {
		case unstable.Table:
			table = key
		case unstable.ArrayTable:
			table = key + "." + strconv.Itoa(count[key])
			count[key]++
		case unstable.KeyValue:
			key = strings.TrimPrefix(table+"."+key, ".")
			at[key] = line
			continue
		default:
			continue
		}
		at[table] = line
	}
	return at
}

// keyOf is an expression's dotted key and line.
func keyOf(p *unstable.Parser, e *unstable.Node) (string, int) {
	if e.Kind != unstable.Table && e.Kind != unstable.ArrayTable && e.Kind != unstable.KeyValue {
		return "", 0
	}
	var parts []string
	line := 0
	for it := e.Key(); it.Next(); {
		n := it.Node()
		parts = append(parts, string(n.Data))
		if line == 0 {
			line = p.Shape(n.Raw).Start.Line
		}
	}
	return strings.Join(parts, "."), line
}
