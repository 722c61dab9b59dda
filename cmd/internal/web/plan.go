package web

import (
	"fmt"
	"net/http"
	"strconv"

	"nightjar/cmd/internal/api"
	"nightjar/cmd/internal/desk"
)

func (h *Handler) planFeed(r *http.Request) (any, error) {
	var ask api.FeedAsk
	if err := decode(r, &ask); err != nil {
		return nil, err
	}
	return h.desk.PlanFeed(r.Context(), r.PathValue("name"), ask)
}

func (h *Handler) plan(r *http.Request) (any, error) {
	var ask api.PlanAsk
	if err := decode(r, &ask); err != nil {
		return nil, err
	}
	return h.desk.Plan(r.Context(), ask)
}

func (h *Handler) replan(r *http.Request) (any, error) {
	n, err := number(r)
	if err != nil {
		return nil, err
	}
	var ask api.ReplanAsk
	if err := decode(r, &ask); err != nil {
		return nil, err
	}
	return h.desk.Replan(n, ask)
}

func (h *Handler) recipe(r *http.Request) (any, error) {
	q := r.URL.Query().Get("dough_g")
	if q == "" {
		return h.desk.Recipe(r.PathValue("name"))
	}
	g, err := strconv.ParseFloat(q, 64)
	if err != nil {
		return nil, &desk.Error{Kind: desk.Bad, Msg: fmt.Sprintf("dough_g=%q is no number", q), Remedy: "give the mass of dough in grams"}
	}
	return h.desk.Scale(r.PathValue("name"), g)
}

func (h *Handler) water(r *http.Request) (any, error) {
	var ask api.WaterAsk
	if err := decode(r, &ask); err != nil {
		return nil, err
	}
	return h.desk.Water(r.PathValue("name"), ask)
}

func (h *Handler) stop(r *http.Request) (any, error) {
	var ask api.StopAsk
	if err := decode(r, &ask); err != nil {
		return nil, err
	}
	return h.desk.Stop(r.Context(), ask)
}

func (h *Handler) compare(r *http.Request) (any, error) {
	var numbers []int
	for _, s := range r.URL.Query()["run"] {
		n, err := strconv.Atoi(s)
		if err != nil || n < 1 {
			return nil, &desk.Error{Kind: desk.Bad, Msg: fmt.Sprintf("%q is no run's number", s), Remedy: "runs count from 1: nightjar runs"}
		}
		numbers = append(numbers, n)
	}
	return h.desk.Compare(r.Context(), numbers)
}
