package store

import (
	"cmp"
	"encoding/binary"
	"errors"
	"fmt"
	"slices"
	"time"

	"nightjar/rise"

	bolt "go.etcd.io/bbolt"
)

// Act does and stores what a person did, in one transaction, and returns it with everything filled in, and the run that
// it started, ended or belongs to. It is durable when Act returns.
//
// An action with an id that is known is not done again: the stored one is returned. At is when the caller was told of
// it; When, if left out, is the same moment. When.Wall alone, or with Typed set, is a time that a person typed: its
// stamp is what the anchors make of it, now and whenever it is read again. An action that names no run belongs to the
// station's open one, if there is one.
//
// start needs Start; feed opens the run in Start, if there is one, and ends the station's open starter run; end
// acknowledges the run's alerts; ack acknowledges one alert or all active ones of the station. Everything else is stored.
//
// Errors wrap ErrRunOpen, ErrRunClosed, ErrNotFound or ErrInvalid; then nothing was done.
func (db *DB) Act(a rise.Action) (rise.Action, *rise.Run, error) {
	if !slices.Contains(rise.ActionKinds, a.Kind) {
		return a, nil, fmt.Errorf("action %q: %w", a.Kind, ErrInvalid)
	}
	d := deed{a: a, line: db.Timeline(), id: fmt.Sprintf("%s-%s-a", db.device, db.boot8())}
	if err := d.fillMoments(db); err != nil {
		return a, nil, err
	}
	err := db.update(d.do)
	if errors.Is(err, ErrNotWritten) && a.Kind == rise.ActionAck {
		db.ackLate(d.a)
	}
	if err != nil && !errors.Is(err, errKnown) {
		return a, nil, fmt.Errorf("%s: %w", a.Kind, err)
	}
	return resolveAction(d.line, d.a), d.resolvedRun(), nil
}

// deed is an action being done.
type deed struct {
	a    rise.Action
	line rise.Timeline
	id   string // what ids that callers left out begin with
	run  *rise.Run
	told rise.Stamp // when the start of run was told
}

// resolvedRun is the run for the one who did it.
func (d *deed) resolvedRun() *rise.Run {
	if d.run == nil {
		return nil
	}
	r := resolveRun(d.line, *d.run, d.told)
	return &r
}

func (d *deed) fillMoments(db *DB) error {
	a := &d.a
	if a.At.IsZero() && db.opts.Now != nil {
		a.At = db.opts.Now()
	}
	if a.At.Boot == 0 {
		a.At.Boot = db.boot
	}
	if a.At.Boot != db.boot {
		return fmt.Errorf("%s told in boot %d, this is boot %d: %w", a.Kind, a.At.Boot, db.boot, ErrInvalid)
	}
	if wall, q := d.line.Wall(a.At.Stamp); q != rise.TimeUnknown && a.At.Wall.IsZero() {
		a.At.Wall = wall
	}
	a.At.At = a.At.At.Truncate(time.Millisecond)
	switch {
	case a.When.IsZero():
		a.When = a.At
	case a.When.Stamp.IsZero():
		a.When.Typed = true
	}
	a.When.Wall, a.At.Wall = a.When.Wall.UTC(), a.At.Wall.UTC()
	resolve(d.line, &a.When, a.At.Stamp)
	return nil
}

func (d *deed) do(w *writer) error {
	if known, err := d.known(w.Tx); known || err != nil {
		return cmp.Or(err, errKnown)
	}
	var err error
	switch d.a.Kind {
	case rise.ActionStart:
		err = d.start(w)
	case rise.ActionFeed:
		err = d.feed(w)
	case rise.ActionEnd:
		err = d.end(w)
	case rise.ActionAck:
		err = d.ack(w)
	default:
		err = d.belong(w.Tx)
	}
	if err != nil {
		return err
	}
	return d.store(w)
}

// known finds an action done before under the same id.
func (d *deed) known(tx *bolt.Tx) (bool, error) {
	if d.a.ID == "" {
		return false, nil
	}
	k := tx.Bucket(bucketActionIDs).Get([]byte(d.a.ID))
	if k == nil {
		return false, nil
	}
	d.a = rise.Action{}
	if err := decode(tx.Bucket(bucketActions).Get(k), &d.a); err != nil {
		return true, err
	}
	if d.a.Run == 0 {
		return true, nil
	}
	r, err := getRun(tx, d.a.Run)
	d.run, d.told = &r, told(tx, d.a.Run)
	return true, err
}

func (d *deed) start(w *writer) error {
	if d.a.Start == nil {
		return fmt.Errorf("no run given: %w", ErrInvalid)
	}
	r := *d.a.Start
	if r.Station == "" {
		r.Station = d.a.Station
	}
	r.Started = d.a.When
	r, err := beginRun(w, r)
	if err != nil {
		return err
	}
	d.a.Start, d.run, d.a.Run, d.a.Station = &r, &r, r.Number, r.Station
	return nil
}

func (d *deed) feed(w *writer) error {
	if d.a.Start == nil {
		return d.belong(w.Tx)
	}
	d.a.Start.Kind = rise.RunStarter
	station := d.a.Start.Station
	if station == "" {
		station = d.a.Station
	}
	old, open, err := openRun(w.Tx, station)
	if err != nil {
		return err
	}
	if open && old.Kind == rise.RunStarter {
		if err := d.close(w, old); err != nil {
			return err
		}
	}
	return d.start(w)
}

func (d *deed) end(w *writer) error {
	if err := d.belong(w.Tx); err != nil {
		return err
	}
	switch {
	case d.run == nil:
		return hintf("'nightjar status' shows what is watched.", "station %s has no open run: %w", d.a.Station, ErrNotFound)
	case !d.run.Open():
		return fmt.Errorf("run %d: %w", d.run.Number, ErrRunClosed)
	case d.a.When.Before(d.run.Started.Stamp):
		return fmt.Errorf("run %d began after that: %w", d.run.Number, ErrInvalid)
	}
	return d.close(w, *d.run)
}

// close ends a run by a person's deed. Who does that knows of its alerts.
func (d *deed) close(w *writer, r rise.Run) error {
	r.End, r.EndReason = d.a.When, "end"
	d.run = &r
	if err := closeRun(w, r); err != nil {
		return err
	}
	_, err := acknowledge(w, alertPrefix(r.Station, r.Number), d.a.When)
	return err
}

func (d *deed) ack(w *writer) error {
	if err := d.belong(w.Tx); err != nil {
		return err
	}
	if d.a.Alert == "" {
		_, err := acknowledge(w, stationPrefix(d.a.Station), d.a.When)
		return err
	}
	key := w.Bucket(bucketAlertIDs).Get([]byte(d.a.Alert))
	if key == nil {
		return fmt.Errorf("alert %s: %w", d.a.Alert, ErrNotFound)
	}
	_, err := acknowledge(w, slices.Clone(key), d.a.When)
	return err
}

// belong finds the run that the action belongs to.
func (d *deed) belong(tx *bolt.Tx) error {
	if d.a.Run != 0 {
		r, err := getRun(tx, d.a.Run)
		if err != nil {
			return err
		}
		d.run, d.a.Station = &r, r.Station
		return nil
	}
	if r, open, err := openRun(tx, d.a.Station); err != nil {
		return err
	} else if open {
		d.run, d.a.Run = &r, r.Number
	}
	return nil
}

func (d *deed) store(w *writer) error {
	b := w.in(bucketActions)
	n, err := b.NextSequence()
	if err != nil {
		return err
	}
	if d.a.ID == "" {
		d.a.ID = fmt.Sprintf("%s%d", d.id, n)
	}
	key := appendStamp(key32(uint32(d.a.Run)), d.a.At.Stamp)
	key = binary.BigEndian.AppendUint32(key, uint32(n))
	rec, err := encode(d.a)
	if err != nil {
		return err
	}
	if d.run != nil {
		d.told = d.a.At.Stamp
		if first := told(w.Tx, d.run.Number); !first.IsZero() {
			d.told = first
		}
	}
	return errors.Join(b.Put(key, rec), w.in(bucketActionIDs).Put([]byte(d.a.ID), key))
}
