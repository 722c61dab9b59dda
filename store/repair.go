package store

import (
	"cmp"
	"errors"
	"fmt"
	"io/fs"
	"os"
	"path/filepath"
	"syscall"
	"time"
)

// Repaired is what Repair did.
type Repaired struct {
	// MovedTo is where the damaged file is now.
	MovedTo string `json:"moved_to"`
	// Copied counts the records in the new file.
	Copied int `json:"copied"`
	// Damage lists what could not be read, and is not in the new file unless it was found elsewhere.
	Damage []Damage `json:"damage,omitempty"`
}

// Repair moves the store file at path aside, as path.damaged-1 or the next number that is free, and puts a new one in
// its place with every record that is readable in it. Pages that nothing leads to any more are searched too: readings,
// actions and runs say themselves what they are. Nothing of the old file is deleted. It must not be open; ErrLocked
// otherwise. A power cut at any moment leaves the old file or the new one.
func Repair(path string) (Repaired, error) {
	r, err := repair(path)
	if err != nil {
		return r, fmt.Errorf("repair store %s: %w", path, err)
	}
	return r, nil
}

func repair(path string) (r Repaired, err error) {
	f, err := os.OpenFile(path, os.O_RDWR, 0)
	if err != nil {
		return r, explain(err)
	}
	defer f.Close()
	if err := lock(f, lockTimeout); err != nil {
		return r, err
	}
	s, err := salvageFile(f)
	if err != nil {
		return r, err
	}
	r.Damage = s.damage
	fresh := path + ".repair"
	if r.Copied, err = s.write(fresh); err != nil {
		return r, errors.Join(err, os.Remove(fresh))
	}
	r.MovedTo, err = putAside(path, fresh)
	return r, errors.Join(err, syncDir(filepath.Dir(path)))
}

// lock waits for the file's exclusive lock.
func lock(f *os.File, timeout time.Duration) error {
	for end := time.Now().Add(timeout); ; time.Sleep(50 * time.Millisecond) {
		err := syscall.Flock(int(f.Fd()), syscall.LOCK_EX|syscall.LOCK_NB)
		if err == nil {
			return nil
		}
		if !errors.Is(err, syscall.EWOULDBLOCK) {
			return err
		}
		if time.Now().After(end) {
			return explain(ErrLocked)
		}
	}
}

// putAside gives the old file another name and the new one its own, so that there is a store at path all the time
// where the file system knows hard links.
func putAside(path, fresh string) (string, error) {
	for n := 1; ; n++ {
		aside := fmt.Sprintf("%s.damaged-%d", path, n)
		if _, err := os.Lstat(aside); err == nil {
			continue
		}
		err := os.Link(path, aside)
		if errors.Is(err, fs.ErrExist) {
			continue
		}
		if err != nil {
			err = os.Rename(path, aside)
		}
		return aside, cmp.Or(err, os.Rename(fresh, path))
	}
}
