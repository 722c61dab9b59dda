package store

import (
	"bytes"
	"fmt"
	"os"
	"strings"
)

// Report is what Check found.
type Report struct {
	// Bytes is the file's size, Used what of it is in use.
	Bytes int64 `json:"bytes"`
	Used  int64 `json:"used"`
	// Schema is the store's schema.
	Schema int `json:"schema"`
	// Records counts those read, by bucket; Readings the single readings.
	Records  map[string]int `json:"records"`
	Readings int            `json:"readings"`
	// Damage lists what cannot be read as it was written; empty is all well.
	Damage []Damage `json:"damage,omitempty"`
}

// Check reads the whole file at path by plain reads: every page that is in use, every record. It changes nothing. The
// file must not be written meanwhile. An error means that it could not be read at all.
func Check(path string) (Report, error) {
	f, err := os.Open(path)
	if err != nil {
		return Report{}, fmt.Errorf("check store: %w", err)
	}
	defer f.Close()
	info, err := f.Stat()
	if err != nil {
		return Report{}, fmt.Errorf("check store: %w", err)
	}
	c := checker{r: Report{Bytes: info.Size(), Records: map[string]int{}}}
	g, err := readGeometry(f)
	if err != nil {
		c.damage("file", err)
		return c.r, nil
	}
	p := newPager(f, g)
	p.damaged = c.damage
	a := newAudit()
	p.bucket(nil, g.root, func(path []string, k, v []byte) {
		a.record(path, k, v)
		c.record(path, k, v)
	})
	p.checkTop()
	p.checkFree()
	c.r.Damage = append(c.r.Damage, a.found(g)...)
	c.r.Used = int64(p.usedPages()) * g.page
	return c.r, nil
}

// checker takes every record of a file.
type checker struct {
	r Report
	d chunkDecoder
}

func (c *checker) damage(where string, err error) {
	c.r.Damage = append(c.r.Damage, Damage{Where: where, What: err.Error()})
}

// record checks one key and value of the bucket at path.
func (c *checker) record(path []string, k, v []byte) {
	err := fits(&c.d, path, k, v)
	switch {
	case bytes.Equal(k, keySchema) && path[0] == string(bucketMeta):
		c.r.Schema = int(keyNumber(v))
	case path[0] == string(bucketReadings) && err == nil:
		p, _ := unseal(v)
		h, _, _ := readHead(p)
		c.r.Readings += h.n
	}
	c.r.Records[path[0]]++
	if err != nil {
		c.damage(fmt.Sprintf("%s %x", strings.Join(path, " "), k), err)
	}
}
