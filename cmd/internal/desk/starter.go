package desk

import (
	"context"
	"encoding/json"
	"errors"
	"fmt"
	"slices"
	"strings"
	"time"

	"nightjar/cmd/internal/api"
	"nightjar/cmd/internal/config"
	"nightjar/rise"
	"nightjar/store"
)

// feedingsSeen is how many of a starter's newest feedings a verdict looks at.
const feedingsSeen = 12

// AddStarter checks a starter and stores it, as a new version if its name is taken.
func (d *Desk) AddStarter(s rise.Starter) (rise.Starter, error) {
	s.Name, s.Note = strings.TrimSpace(s.Name), strings.TrimSpace(s.Note)
	if s.HydrationPct == 0 {
		s.HydrationPct = 100
	}
	if err := checkName("starter", s.Name); err != nil {
		return s, err
	}
	if err := s.Check(); err != nil {
		return s, bad(err, "give its water in % of its flour, and flours whose shares add up to 1")
	}
	if now := d.now().Wall; s.Born.After(now) {
		return s, &Error{Kind: Bad, Msg: fmt.Sprintf("born at %s is in the future", local(s.Born)), Remedy: "give the day it was begun"}
	}
	_, err := put(s.Name, s, d.Store.PutStarter)
	return s, d.told(err)
}

func checkName(what, name string) error {
	if config.ValidName(name) {
		return nil
	}
	return &Error{Kind: Bad, Msg: fmt.Sprintf("a %s cannot be named %q", what, name), Remedy: "use 1 to 32 of a-z, 0-9, - and _, beginning with a letter or a digit"}
}

// bad makes an error of rise one that a person can do something about.
func bad(err error, remedy string) error {
	return &Error{Kind: Bad, Msg: strings.ReplaceAll(err.Error(), "\n", "; "), Remedy: remedy}
}

// put stores a description as JSON.
func put(name string, v any, store func(string, json.RawMessage) (int, error)) (int, error) {
	body, err := json.Marshal(v)
	if err != nil {
		return 0, err
	}
	return store(name, body)
}

// starter finds a starter's newest description.
func (d *Desk) starter(name string) (rise.Starter, int, error) {
	var s rise.Starter
	doc, err := d.Store.Starter(name, 0)
	if errors.Is(err, store.ErrNotFound) {
		return s, 0, d.noSuch("starter", name, "nightjar starters add NAME --hydration 100", d.Store.Starters)
	}
	if err != nil {
		return s, 0, err
	}
	return s, doc.Version, json.Unmarshal(doc.Body, &s)
}

// noSuch says that there is no such thing, and which there are.
func (d *Desk) noSuch(what, name, add string, list func() ([]store.Document, error)) error {
	docs, err := list()
	var names []string
	for _, doc := range docs {
		names = append(names, doc.Name)
	}
	remedy := fmt.Sprintf("%ss here: %s", what, strings.Join(names, ", "))
	if len(names) == 0 || err != nil {
		remedy = "add it first: " + add
	}
	return &Error{Kind: Missing, Msg: fmt.Sprintf("there is no %s %q", what, name), Remedy: remedy}
}

// Starter is a starter with what its feedings tell.
func (d *Desk) Starter(ctx context.Context, name string) (api.StarterShown, error) {
	s, version, err := d.starter(name)
	if err != nil {
		return api.StarterShown{}, err
	}
	fed, err := d.feedings(ctx, s)
	if err != nil {
		return api.StarterShown{}, err
	}
	return api.StarterShown{
		Starter: s, Version: version, Fed: len(fed), Feedings: fed,
		Verdict: rise.Assess(s, fed, d.now().Wall, rise.Rules{}), Expected: rise.Expect(fed),
	}, nil
}

// Starters lists all starters with their verdicts, by name.
func (d *Desk) Starters(ctx context.Context) ([]api.StarterShown, error) {
	docs, err := d.Store.Starters()
	if err != nil {
		return nil, err
	}
	var all []api.StarterShown
	for _, doc := range docs {
		s, err := d.Starter(ctx, doc.Name)
		if err != nil {
			return nil, err
		}
		s.Feedings = nil
		all = append(all, s)
	}
	return all, nil
}

// feedings are a starter's newest feedings that were watched and are over, oldest first.
func (d *Desk) feedings(ctx context.Context, s rise.Starter) ([]rise.FeedingRun, error) {
	if err := d.remember(ctx, s.Name, feedingsSeen); err != nil {
		return nil, err
	}
	summaries, err := d.Store.Summaries(s.Name)
	if err != nil {
		return nil, err
	}
	var fed []rise.FeedingRun
	for _, sum := range summaries {
		if sum.Run.Kind != rise.RunStarter || sum.Algorithm != rise.Algorithm {
			continue
		}
		f, at, err := d.feeding(sum.Run)
		if err != nil {
			return nil, err
		}
		if f != nil {
			fed = append(fed, rise.NewFeedingRun(s, sum.Run.Number, at, *f, sum.Milestones))
		}
	}
	return fed, nil
}

// feeding is the feeding that opened a run; nil where the run was started by itself.
func (d *Desk) feeding(run rise.Run) (*rise.Feeding, time.Time, error) {
	actions, err := d.Store.Actions(run.Number)
	if err != nil {
		return nil, time.Time{}, err
	}
	i := slices.IndexFunc(actions, func(a rise.Action) bool { return a.Kind == rise.ActionFeed && a.Feed != nil })
	if i < 0 {
		return nil, time.Time{}, nil
	}
	return actions[i].Feed, actions[i].When.Wall, nil
}

// prepareFeed checks a feeding. On a station it opens a starter run there, whose target is nine tenths of the height that
// the starter usually reaches, or doubling while that is unknown.
func (d *Desk) prepareFeed(ctx context.Context, a *rise.Action) error {
	f := a.Feed
	if f == nil || strings.TrimSpace(f.Starter) == "" {
		return &Error{Kind: Bad, Msg: "which starter was fed?", Remedy: "name it"}
	}
	s, _, err := d.starter(f.Starter)
	if err != nil {
		return err
	}
	if err := f.Check(); err != nil {
		return bad(err, "give the grams of starter kept, flour and water")
	}
	if a.Station == "" { // nothing watches it
		a.Start = nil
		return nil
	}
	if a.Start == nil {
		a.Start = &rise.Run{}
	}
	r := a.Start
	r.Kind, r.Starter = rise.RunStarter, s.Name
	r.InoculationPct, r.HydrationPct = rise.Known(f.InoculationPct(s.HydrationPct)), rise.Known(f.HydrationPct(s.HydrationPct))
	if r.Target == 0 {
		fed, err := d.feedings(ctx, s)
		if err != nil {
			return err
		}
		if near, ok := rise.Expect(fed).NearMultiple.Get(); ok && checkTarget(near) == nil {
			r.Target = near
		}
	}
	return d.prepareStart(a)
}

// PlanFeed plans a feeding so that a starter is near its peak when it is wanted.
func (d *Desk) PlanFeed(ctx context.Context, name string, ask api.FeedAsk) (rise.FeedPlan, error) {
	s, _, err := d.starter(name)
	if err != nil {
		return rise.FeedPlan{}, err
	}
	fed, err := d.feedings(ctx, s)
	if err != nil {
		return rise.FeedPlan{}, err
	}
	now := d.now().Wall.Local()
	room, _, err := d.room(ask.RoomC, ask.Station, now, 24)
	if err != nil {
		return rise.FeedPlan{}, err
	}
	p, err := rise.PlanFeed(rise.FeedAsk{
		Now: now, Ripe: ask.Ripe.Local(), HydrationPct: rise.Known(s.HydrationPct), Peak: rise.Expect(fed).PeakMultiple,
		MixC: ask.MixC, Room: room, Speed: rise.SpeedOf(nil, fed),
	})
	if err != nil {
		return p, bad(err, `ask again, such as --ripe "tomorrow 08:00"`)
	}
	return p, nil
}
