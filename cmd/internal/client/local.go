package client

import (
	"fmt"
	"io"
	"net/http"
)

// openError is an error of opening with what to do about it.
type openError struct {
	err    error
	remedy string
}

func (e *openError) Error() string { return e.err.Error() }

// Unwrap returns the cause.
func (e *openError) Unwrap() error { return e.err }

// Hint says what to do about it.
func (e *openError) Hint() string { return e.remedy }

// inProcess serves requests by a handler without a connection. The body of the answer streams, as it would over one.
type inProcess struct{ h http.Handler }

// RoundTrip implements http.RoundTripper. It returns once the handler has written its header; the handler's goroutine
// ends when it is done or when the body is closed.
func (t inProcess) RoundTrip(r *http.Request) (*http.Response, error) {
	if r.Body == nil {
		r.Body = http.NoBody
	}
	body, pipe := io.Pipe()
	w := &answer{header: http.Header{}, pipe: pipe, started: make(chan int, 1)}
	go func() {
		defer r.Body.Close()
		pipe.CloseWithError(w.serve(t.h, r))
	}()
	select {
	case <-r.Context().Done():
		body.CloseWithError(r.Context().Err())
		return nil, r.Context().Err()
	case status := <-w.started:
		return &http.Response{
			Status: fmt.Sprintf("%d %s", status, http.StatusText(status)), StatusCode: status,
			Proto: "HTTP/1.1", ProtoMajor: 1, ProtoMinor: 1,
			Header: w.sent, Body: body, ContentLength: -1, Request: r,
		}, nil
	}
}

// answer is the handler's side of an answer.
type answer struct {
	header, sent http.Header
	pipe         *io.PipeWriter
	started      chan int
	begun        bool
}

// serve runs the handler; a handler that aborts cuts the body short.
func (a *answer) serve(h http.Handler, r *http.Request) (err error) {
	defer func() {
		if p := recover(); p == http.ErrAbortHandler {
			err = io.ErrUnexpectedEOF
		} else if p != nil {
			panic(p)
		}
		a.WriteHeader(http.StatusOK)
	}()
	h.ServeHTTP(a, r)
	return nil
}

// Header implements http.ResponseWriter.
func (a *answer) Header() http.Header { return a.header }

// WriteHeader implements http.ResponseWriter. Only the first call counts.
func (a *answer) WriteHeader(status int) {
	if a.begun {
		return
	}
	a.begun = true
	a.sent = a.header.Clone()
	a.started <- status
}

// Write implements io.Writer.
func (a *answer) Write(b []byte) (int, error) {
	a.WriteHeader(http.StatusOK)
	return a.pipe.Write(b)
}
