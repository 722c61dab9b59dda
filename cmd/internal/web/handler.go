package web

import (
	"bytes"
	"context"
	"encoding/json"
	"errors"
	"fmt"
	"log/slog"
	"net/http"
	"strconv"
	"strings"
	"time"

	"nightjar/cmd/internal/api"
	"nightjar/cmd/internal/desk"
	"nightjar/rise"
)

// maxBody is the longest request body, in bytes.
const maxBody = 64 << 10

// Handler answers the JSON API.
type Handler struct {
	desk *desk.Desk
	log  *slog.Logger
	mux  *http.ServeMux
}

// NewHandler makes a handler that asks d. A nil log discards.
func NewHandler(d *desk.Desk, log *slog.Logger) *Handler {
	if log == nil {
		log = slog.New(slog.DiscardHandler)
	}
	h := &Handler{desk: d, log: log, mux: http.NewServeMux()}
	h.mux.Handle(api.PathVersion, h.answer(h.version))
	h.mux.Handle(api.PathStatus, h.answer(h.status))
	h.mux.Handle(api.PathRuns, h.answer(h.runs))
	h.mux.Handle(api.PathRun, h.answer(h.run))
	h.mux.Handle(api.PathSeries, h.answer(h.series))
	h.mux.HandleFunc(api.PathExport, h.export)
	h.mux.Handle(api.PathActions, h.answer(h.act))
	h.mux.Handle(api.PathJars, h.answer(h.jars))
	h.mux.Handle(api.PathJar, h.answer(h.jar))
	h.mux.Handle(api.PathAddJar, h.answer(take(h.desk.AddJar)))
	h.mux.Handle(api.PathBurst, h.answer(h.burst))
	h.mux.Handle(api.PathFit, h.answer(take(h.desk.Fit)))
	h.mux.Handle(api.PathTare, h.answer(take(h.desk.Tare)))
	h.mux.Handle(api.PathStarters, h.answer(func(r *http.Request) (any, error) { return list(h.desk.Starters(r.Context())) }))
	h.mux.Handle(api.PathStarter, h.answer(func(r *http.Request) (any, error) { return h.desk.Starter(r.Context(), r.PathValue("name")) }))
	h.mux.Handle(api.PathAddStarter, h.answer(take(h.desk.AddStarter)))
	h.mux.Handle(api.PathPlanFeed, h.answer(h.planFeed))
	h.mux.Handle(api.PathRecipes, h.answer(func(*http.Request) (any, error) { return list(h.desk.Recipes()) }))
	h.mux.Handle(api.PathRecipe, h.answer(h.recipe))
	h.mux.Handle(api.PathWater, h.answer(h.water))
	h.mux.Handle(api.PathAddRecipe, h.answer(take(h.desk.AddRecipe)))
	h.mux.Handle(api.PathPlan, h.answer(h.plan))
	h.mux.Handle(api.PathReplan, h.answer(h.replan))
	h.mux.Handle(api.PathStop, h.answer(h.stop))
	h.mux.Handle(api.PathCompare, h.answer(h.compare))
	h.mux.Handle(api.PathTest, h.answer(func(*http.Request) (any, error) { return h.desk.Test() }))
	h.mux.Handle(api.PathDelivery, h.answer(func(r *http.Request) (any, error) { return h.desk.Delivery(r.PathValue("id")) }))
	h.mux.HandleFunc(api.PathBackup, h.backup)
	h.mux.HandleFunc("/", h.unknown)
	return h
}

// ServeHTTP implements http.Handler.
func (h *Handler) ServeHTTP(w http.ResponseWriter, r *http.Request) {
	r.Body = http.MaxBytesReader(w, r.Body, maxBody)
	h.mux.ServeHTTP(w, r)
}

// answer makes a handler of a function that returns what to send.
func (h *Handler) answer(f func(*http.Request) (any, error)) http.Handler {
	return http.HandlerFunc(func(w http.ResponseWriter, r *http.Request) {
		v, err := f(r)
		if err != nil {
			h.problem(w, r, err)
			return
		}
		h.send(w, r, http.StatusOK, v)
	})
}

// send writes a value as JSON. It is encoded whole before the first byte goes out, so that an error is still told.
func (h *Handler) send(w http.ResponseWriter, r *http.Request, status int, v any) {
	var body bytes.Buffer
	if err := json.NewEncoder(&body).Encode(v); err != nil {
		h.log.Error("answer cannot be encoded", "path", r.URL.Path, "error", err)
		http.Error(w, `{"error":"the answer cannot be encoded"}`, http.StatusInternalServerError)
		return
	}
	w.Header().Set("Content-Type", "application/json")
	w.Header().Set("Cache-Control", "no-store")
	w.WriteHeader(status)
	_, _ = w.Write(body.Bytes()) // whoever asked is gone: nobody is left to tell
}

// problem answers an error. What no person can mend is logged too.
func (h *Handler) problem(w http.ResponseWriter, r *http.Request, err error) {
	status, p := http.StatusInternalServerError, api.Problem{Error: err.Error()}
	if hinted, ok := errors.AsType[interface {
		error
		Hint() string
	}](err); ok {
		p.Hint = hinted.Hint()
	}
	if mine, ok := errors.AsType[*desk.Error](err); ok {
		status = map[desk.Kind]int{desk.Bad: http.StatusBadRequest, desk.Missing: http.StatusNotFound, desk.Refused: http.StatusConflict}[mine.Kind]
	}
	if errors.Is(err, context.Canceled) {
		return
	}
	if status == http.StatusInternalServerError {
		h.log.Error("request failed", "method", r.Method, "path", r.URL.Path, "error", err)
	}
	h.send(w, r, status, p)
}

func (h *Handler) unknown(w http.ResponseWriter, r *http.Request) {
	h.problem(w, r, &desk.Error{Kind: desk.Missing, Msg: fmt.Sprintf("%s %s is not part of the API", r.Method, r.URL.Path),
		Remedy: "the program that asked may be of another version than the daemon: nightjar version"})
}

func (h *Handler) version(*http.Request) (any, error) { return h.desk.About(), nil }

func (h *Handler) status(*http.Request) (any, error) { return h.desk.Status() }

func (h *Handler) jars(*http.Request) (any, error) { return list(h.desk.Jars()) }

func (h *Handler) jar(r *http.Request) (any, error) {
	j, err := h.desk.Jar(r.PathValue("name"))
	if err != nil {
		return nil, err
	}
	return api.JarShown{Jar: j, CanDo: h.desk.Ability(j)}, nil
}

func (h *Handler) burst(r *http.Request) (any, error) {
	return h.desk.BurstNow(r.Context(), r.PathValue("station"))
}

// take makes a function of a body into one of a request.
func take[In, Out any](f func(In) (Out, error)) func(*http.Request) (any, error) {
	return func(r *http.Request) (any, error) {
		var in In
		if err := decode(r, &in); err != nil {
			return nil, err
		}
		return f(in)
	}
}

func (h *Handler) act(r *http.Request) (any, error) {
	var a rise.Action
	if err := decode(r, &a); err != nil {
		return nil, err
	}
	return h.desk.Do(r.Context(), a)
}

func (h *Handler) runs(*http.Request) (any, error) { return list(h.desk.Runs()) }

func (h *Handler) run(r *http.Request) (any, error) {
	n, err := number(r)
	if err != nil {
		return nil, err
	}
	return h.desk.Run(n)
}

func (h *Handler) series(r *http.Request) (any, error) {
	n, err := number(r)
	if err != nil {
		return nil, err
	}
	every := 5 * time.Minute
	if q := r.URL.Query().Get("every"); q != "" {
		if every, err = time.ParseDuration(q); err != nil || every < 0 {
			return nil, &desk.Error{Kind: desk.Bad, Msg: fmt.Sprintf("every=%q is no time span", q), Remedy: "write it with its unit, such as 5m"}
		}
	}
	return h.desk.Series(r.Context(), n, every)
}

// list makes an empty list of none, which JSON would call null.
func list[T any](vs []T, err error) ([]T, error) {
	if vs == nil {
		vs = []T{}
	}
	return vs, err
}

func number(r *http.Request) (int, error) {
	s := r.PathValue("n")
	n, err := strconv.Atoi(s)
	if err != nil || n < 1 {
		return 0, &desk.Error{Kind: desk.Bad, Msg: fmt.Sprintf("%q is no run's number", s), Remedy: "runs count from 1: nightjar runs"}
	}
	return n, nil
}

// decode reads a JSON body: one value, with known keys only.
func decode(r *http.Request, v any) error {
	d := json.NewDecoder(r.Body)
	d.DisallowUnknownFields()
	err := d.Decode(v)
	if err == nil && d.More() {
		err = errors.New("more than one value")
	}
	if err == nil {
		return nil
	}
	remedy := "send one JSON object with the keys that the API names"
	if _, ok := errors.AsType[*http.MaxBytesError](err); ok {
		remedy = fmt.Sprintf("send at most %d bytes", maxBody)
	}
	return &desk.Error{Kind: desk.Bad, Msg: "the request's body is not understood: " + strings.TrimPrefix(err.Error(), "json: "), Remedy: remedy}
}
