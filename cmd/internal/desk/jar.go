package desk

import (
	"fmt"
	"strconv"
	"strings"

	"nightjar/cmd/internal/config"
	"nightjar/rise"
)

// usualFloorDoubt is the standard uncertainty of a floor distance measured with a ruler, mm, where none is given.
const usualFloorDoubt = 0.5

// Jars lists the newest version of every jar, by name.
func (d *Desk) Jars() ([]rise.Jar, error) {
	jars, err := d.Store.Jars()
	return jars, d.told(err)
}

// Jar finds a jar by its name, or a version of it by NAME@VERSION.
func (d *Desk) Jar(name string) (rise.Jar, error) {
	plain, version, err := cutVersion(name)
	if err != nil {
		return rise.Jar{}, err
	}
	jar, err := d.Store.Jar(plain, version)
	err = d.told(err)
	if e, ok := err.(*Error); ok && e.Kind == Missing {
		jars, listErr := d.Store.Jars()
		if listErr == nil && len(jars) > 0 {
			e = &Error{Kind: Missing, Msg: fmt.Sprintf("there is no jar %q", name), Remedy: "jars here: " + jarNames(jars)}
		} else {
			e = noJars()
		}
		return rise.Jar{}, e
	}
	return jar, err
}

func noJars() *Error {
	return &Error{Kind: Missing, Msg: "no jar is known yet",
		Remedy: "measure yours and add it: nightjar jars add NAME --floor-mm DISTANCE --diameter-mm INSIDE"}
}

// AddJar checks a jar and stores it, as a new version if its name is taken.
func (d *Desk) AddJar(j rise.Jar) (rise.Jar, error) {
	j.Name, j.Note = strings.TrimSpace(j.Name), strings.TrimSpace(j.Note)
	if j.UFloorMM == 0 {
		j.UFloorMM = usualFloorDoubt
	}
	if j.Profile.Shape == "" {
		j.Profile.Shape = rise.ShapeCylinder
	}
	if err := checkJar(j); err != nil {
		return rise.Jar{}, err
	}
	d.mu.Lock()
	defer d.mu.Unlock()
	j.Version, j.Made = 0, d.now().Wall
	stored, err := d.Store.PutJar(j)
	return stored, d.told(err)
}

func checkJar(j rise.Jar) error {
	switch {
	case !config.ValidName(j.Name):
		return &Error{Kind: Bad, Msg: fmt.Sprintf("a jar cannot be named %q", j.Name), Remedy: "use 1 to 32 of a-z, 0-9, - and _, beginning with a letter or a digit"}
	case len(j.Note) > maxText:
		return &Error{Kind: Bad, Msg: fmt.Sprintf("the note is longer than %d bytes", maxText), Remedy: "shorten it"}
	}
	if err := floor.check(j.FloorMM); err != nil {
		return err
	}
	if err := floorDoubt.check(j.UFloorMM); err != nil {
		return err
	}
	if j.Profile.Shape != rise.ShapePoured {
		if err := diameter.check(j.Profile.DiameterMM); err != nil {
			return err
		}
	}
	if err := j.Check(); err != nil {
		return &Error{Kind: Bad, Msg: err.Error(), Remedy: "measure again"}
	}
	return nil
}

// atVersion writes a jar's name and version as one word; version 0 is the newest and leaves the name alone.
func atVersion(name string, version int) string {
	if version == 0 {
		return name
	}
	return name + "@" + strconv.Itoa(version)
}

// cutVersion takes NAME or NAME@VERSION apart; version 0 is the newest.
func cutVersion(s string) (string, int, error) {
	name, version, ok := strings.Cut(s, "@")
	if !ok {
		return name, 0, nil
	}
	n, err := strconv.Atoi(version)
	if err != nil || n < 1 {
		return "", 0, &Error{Kind: Bad, Msg: fmt.Sprintf("%q is no version of a jar", version), Remedy: "write NAME@VERSION, such as tall@2"}
	}
	return name, n, nil
}

func jarNames(jars []rise.Jar) string {
	var names []string
	for _, j := range jars {
		names = append(names, j.Name)
	}
	return strings.Join(names, ", ")
}
