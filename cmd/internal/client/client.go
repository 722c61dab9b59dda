package client

import (
	"bytes"
	"context"
	"encoding/json"
	"errors"
	"fmt"
	"io"
	"io/fs"
	"net"
	"net/http"
	"net/url"
	"strings"
	"time"

	"nightjar/cmd/internal/api"
)

// Client calls the API. Close it when done.
type Client struct {
	http  *http.Client
	close func() error
}

// Problem is an error that the API answered, with the HTTP status it came with.
type Problem struct {
	Status int
	api.Problem
}

// Error says what happened.
func (p *Problem) Error() string { return p.Problem.Error }

// Hint says what to do about it.
func (p *Problem) Hint() string { return p.Problem.Hint }

// Options says where to find the daemon and, failing that, the handler.
type Options struct {
	// Socket is the daemon's unix socket.
	Socket string
	// Local opens the handler that serves where no daemon answers, and says how to close what it opened. Nil makes a
	// daemon that does not answer an error.
	Local func(ctx context.Context) (http.Handler, func() error, error)
}

// Open finds the daemon, or opens the store itself.
func Open(ctx context.Context, o Options) (*Client, error) {
	dial := func(ctx context.Context, _, _ string) (net.Conn, error) {
		return (&net.Dialer{Timeout: time.Second}).DialContext(ctx, "unix", o.Socket)
	}
	probe, err := dial(ctx, "", "")
	if err == nil {
		probe.Close()
		t := &http.Transport{DialContext: dial, ResponseHeaderTimeout: time.Minute}
		return &Client{http: &http.Client{Transport: t}, close: func() error { t.CloseIdleConnections(); return nil }}, nil
	}
	if errors.Is(err, fs.ErrPermission) {
		return nil, &openError{err: fmt.Errorf("the daemon's socket %s: %w", o.Socket, err),
			remedy: "run the command with sudo, or join the group: sudo usermod -aG nightjar $USER, then sign in again"}
	}
	if o.Local == nil {
		return nil, fmt.Errorf("ask the daemon: %w", err)
	}
	h, done, err := o.Local(ctx)
	if err != nil {
		return nil, err
	}
	return &Client{http: &http.Client{Transport: inProcess{h}}, close: done}, nil
}

// Close lets go of the daemon or of the store.
func (c *Client) Close() error { return c.close() }

// Call sends in as JSON, unless it is nil, to a path of package api and decodes the answer into out, unless it is nil.
// Each {…} of the path is replaced by the next of args. An error that the API answers is a *Problem.
func (c *Client) Call(ctx context.Context, path string, in, out any, args ...string) error {
	resp, err := c.do(ctx, path, in, args)
	if err != nil {
		return err
	}
	defer resp.Body.Close()
	if out == nil {
		return nil
	}
	if err := json.NewDecoder(resp.Body).Decode(out); err != nil {
		return fmt.Errorf("read the daemon's answer: %w", err)
	}
	return nil
}

// Copy writes the answer of a path to w as it comes.
func (c *Client) Copy(ctx context.Context, w io.Writer, path string, args ...string) error {
	resp, err := c.do(ctx, path, nil, args)
	if err != nil {
		return err
	}
	defer resp.Body.Close()
	if _, err := io.Copy(w, resp.Body); err != nil {
		return fmt.Errorf("read the daemon's answer: %w", err)
	}
	return nil
}

func (c *Client) do(ctx context.Context, path string, in any, args []string) (*http.Response, error) {
	method, address := request(path, args)
	var body io.Reader
	if in != nil {
		b, err := json.Marshal(in)
		if err != nil {
			return nil, err
		}
		body = bytes.NewReader(b)
	}
	req, err := http.NewRequestWithContext(ctx, method, address, body)
	if err != nil {
		return nil, err
	}
	resp, err := c.http.Do(req)
	if err != nil {
		return nil, fmt.Errorf("ask the daemon: %w", err)
	}
	if resp.StatusCode != http.StatusOK {
		defer resp.Body.Close()
		return nil, problem(resp)
	}
	return resp, nil
}

// problem reads an error that the API answered.
func problem(resp *http.Response) error {
	p := &Problem{Status: resp.StatusCode}
	b, err := io.ReadAll(io.LimitReader(resp.Body, 64<<10))
	if err == nil && json.Unmarshal(b, &p.Problem) == nil && p.Problem.Error != "" {
		return p
	}
	p.Problem.Error = "the daemon answered " + resp.Status
	p.Problem.Hint = "its log may say why: journalctl -u nightjar"
	return p
}

// request makes a method and an address of a path of package api, its {…} replaced, its query kept.
func request(path string, args []string) (method, address string) {
	method, path, _ = strings.Cut(path, " ")
	for _, a := range args {
		before, rest, found := strings.Cut(path, "{")
		if !found {
			path += a // a query
			continue
		}
		_, after, _ := strings.Cut(rest, "}")
		path = before + url.PathEscape(a) + after
	}
	return method, "http://nightjar" + path
}
