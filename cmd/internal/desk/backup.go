package desk

import (
	"crypto/rand"
	"errors"
	"io"
	"os"
)

// Backup writes a consistent copy of the store to w. It is made beside the store first, so that no transaction is open
// while a slow reader takes it.
func (d *Desk) Backup(w io.Writer) (err error) {
	path := d.Store.Path() + ".backup-" + rand.Text()
	if err := d.Store.Backup(path); err != nil {
		return d.told(err)
	}
	f, err := os.Open(path)
	if err != nil {
		return err
	}
	if err := os.Remove(path); err != nil {
		return errors.Join(err, f.Close())
	}
	_, err = io.Copy(w, f)
	return errors.Join(err, f.Close())
}
