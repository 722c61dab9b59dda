package watch

import (
	"context"
	"fmt"
	"sync"
	"sync/atomic"
	"time"

	"nightjar/rise"
)

// station is one Station being watched.
type station struct {
	Station
	w     *Watch
	leave func() // lets the clock go on without this station's loop
	// outdated tells that the timeline moved, so that the fold must be made anew.
	outdated atomic.Bool
	// deadline is the boot time, ns, by which the loop must have moved again; 0 before it began.
	deadline atomic.Int64

	ranging sync.Mutex // one burst at a time

	mu      sync.Mutex
	run     *rise.Run // the open run; nil if there is none
	jar     rise.Jar
	tracker *rise.Tracker
	est     rise.Estimate
	alerts  []rise.Alert  // of the open run, as issued
	actions []rise.Action // of the open run
	last    rise.Reading  // the newest reading
	good    rise.Reading  // the newest one with a range
	gap     gap
	trouble trouble
	lifted  int        // ticks in a row without the jar, after ready
	aways   int        // the episode of the newest away alert
	awayAt  rise.Stamp // when it was issued
}

// resume picks up where the store left off.
func (s *station) resume() error {
	s.mu.Lock()
	defer s.mu.Unlock()
	last, ok, err := s.w.o.Store.LastReading(s.Name)
	if err != nil {
		return err
	}
	if ok {
		s.gap.last = last.Stamp
	}
	if err := s.resumeTrouble(); err != nil {
		return err
	}
	return s.refold()
}

// loop ticks until ctx ends, then puts the ranger to rest.
func (s *station) loop(ctx context.Context) {
	clock := s.w.o.Clock
	for next := clock.Boot(); ctx.Err() == nil; {
		s.due(clock.Boot())
		s.tick(ctx)
		s.w.flushIfDue(s.inRun())
		// Ticks that were missed are not made up for: the next one comes a full tick after the last, or at once.
		next = max(next+s.Every, clock.Boot())
		s.due(next)
		if clock.Sleep(ctx, next-clock.Boot()) != nil {
			break
		}
	}
	if err := s.Ranger.Halt(); err != nil {
		s.w.log.Warn("put the ranger to rest", "station", s.Name, "err", err)
	}
}

// patience is how long after it was due a tick may take to come and to be done before its loop counts as hanging. The
// slowest restart of a chip and the slowest commit to a card fit into it.
const patience = 90 * time.Second

// due notes when the loop has to move again.
func (s *station) due(at time.Duration) { s.deadline.Store(int64(at + patience)) }

// Stalled lists the stations whose loop has not moved when it should have.
func (w *Watch) Stalled() []string {
	var names []string
	now := int64(w.o.Clock.Boot())
	for _, s := range w.stations {
		if d := s.deadline.Load(); d > 0 && now > d {
			names = append(names, s.Name)
		}
	}
	return names
}

func (s *station) inRun() bool {
	s.mu.Lock()
	defer s.mu.Unlock()
	return s.run != nil
}

// tick takes one reading and does all that follows from it.
func (s *station) tick(ctx context.Context) {
	s.w.observeClock()
	r, err := s.read(ctx)
	if ctx.Err() != nil {
		return // cut short by the shutdown: not a reading
	}
	r = r.Rounded() // what is folded now is what will be read back
	s.w.o.Store.Add(s.Name, r)
	s.w.o.Store.Timeline().Date(&r)

	s.mu.Lock()
	defer s.mu.Unlock()
	s.gap.note(r)
	s.last = r
	if r.RangeMM.IsKnown() {
		s.good = r
	}
	switch {
	case s.outdated.Swap(false):
		if err := s.refold(); err != nil { // the reading is in the store's memory: this fold has it
			s.w.log.Error("fold the run again", "station", s.Name, "err", err)
		}
	case s.tracker != nil:
		s.est = s.tracker.Add(r)
	}
	s.noteTrouble(r, err)
	s.watchJar(r)
	s.issueHeld()
	s.ringAgain()
	s.sayGoodNight()
	s.endIfOver()
	s.publish()
}

// refold folds the open run from the store. It is called with the lock held, and issues nothing.
func (s *station) refold() error {
	s.run, s.tracker, s.jar, s.est, s.alerts, s.actions = nil, nil, rise.Jar{}, rise.Estimate{}, nil, nil
	run, open, err := s.w.o.Store.OpenRun(s.Name)
	if err != nil || !open {
		return err
	}
	c, err := s.w.o.Store.Case(run.Number)
	if err != nil {
		return fmt.Errorf("run %d: %w", run.Number, err)
	}
	s.run = &run
	t, est, err := rise.Resume(c)
	if err != nil {
		return fmt.Errorf("run %d: %w", run.Number, err)
	}
	s.tracker, s.jar, s.est, s.actions = t, c.Jar, est, c.Actions
	if n := len(c.Readings); n > 0 {
		s.gap.last = c.Readings[n-1].Stamp
	}
	s.alerts, err = s.w.o.Store.Alerts(s.Name, run.Number)
	return err
}

// Changed folds a station's run again after an action was stored. It returns when the estimate knows of the action.
func (w *Watch) Changed(name string) {
	s := w.byName[name]
	if s == nil {
		return
	}
	s.mu.Lock()
	defer s.mu.Unlock()
	if err := s.refold(); err != nil {
		w.log.Error("fold the run again", "station", name, "err", err)
	}
	s.issueHeld()
	s.publish()
	if w.o.Publisher != nil {
		active, err := w.o.Store.Active(name)
		w.o.Publisher.Answered(err == nil && len(active) == 0)
	}
}

// endIfOver ends a run that has been open for as long as its kind may be.
func (s *station) endIfOver() {
	if s.run == nil {
		return
	}
	started, _ := s.w.o.Store.Timeline().Wall(s.run.Started.Stamp)
	if started.IsZero() || s.last.Time.Sub(started) < s.run.Kind.Limit() {
		return
	}
	now, _ := s.w.now()
	hours := int(s.run.Kind.Limit().Hours())
	_, _, err := s.w.o.Store.Act(rise.Action{
		ID: fmt.Sprintf("limit-%d", s.run.Number), Kind: rise.ActionNote, Station: s.Name, Run: s.run.Number, When: now, At: now,
		Text: fmt.Sprintf("ended by itself after %d hours", hours),
	})
	if err == nil {
		_, err = s.w.o.Store.Expire(s.run.Number, now)
	}
	if err != nil {
		s.w.storeTrouble(err)
		return
	}
	s.w.log.Info("the run ended by itself", "station", s.Name, "run", s.run.Number, "hours", hours)
	if err := s.refold(); err != nil {
		s.w.log.Error("fold after the run's end", "station", s.Name, "err", err)
	}
}
