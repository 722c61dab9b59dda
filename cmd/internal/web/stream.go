package web

import (
	"net/http"

	"nightjar/cmd/internal/desk"
)

// counted tells whether anything was written, after which an error can no longer be answered.
type counted struct {
	http.ResponseWriter
	wrote bool
}

// Write implements io.Writer.
func (c *counted) Write(b []byte) (int, error) {
	c.wrote = true
	return c.ResponseWriter.Write(b)
}

// stream sends what write writes. An error before the first byte is answered as a problem; after it the connection is
// cut, so that nobody takes half for the whole.
func (h *Handler) stream(w http.ResponseWriter, r *http.Request, contentType string, write func(*counted) error) {
	c := &counted{ResponseWriter: w}
	w.Header().Set("Content-Type", contentType)
	err := write(c)
	switch {
	case err == nil:
	case !c.wrote:
		h.problem(w, r, err)
	default:
		h.log.Error("answer cut short", "path", r.URL.Path, "error", err)
		panic(http.ErrAbortHandler)
	}
}

func (h *Handler) export(w http.ResponseWriter, r *http.Request) {
	n, err := number(r)
	if err != nil {
		h.problem(w, r, err)
		return
	}
	format := r.URL.Query().Get("format")
	contentType, err := desk.ExportType(format)
	if err != nil {
		h.problem(w, r, err)
		return
	}
	h.stream(w, r, contentType, func(c *counted) error { return h.desk.Export(r.Context(), c, n, format) })
}

func (h *Handler) backup(w http.ResponseWriter, r *http.Request) {
	h.stream(w, r, "application/octet-stream", func(c *counted) error { return h.desk.Backup(c) })
}
