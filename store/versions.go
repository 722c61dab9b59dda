package store

import (
	"encoding/json"
	"errors"
	"fmt"

	"nightjar/rise"

	bolt "go.etcd.io/bbolt"
)

// Versioned things are kept under kind, name and version: a change makes a new version, and what was used for an old
// run stays as it was.

// PutJar stores a jar as the next version of its name and returns it with that version.
func (db *DB) PutJar(j rise.Jar) (rise.Jar, error) {
	err := db.putVersion(bucketJars, j.Name, func(version int) any {
		j.Version = version
		return j
	})
	return j, err
}

// Jar returns a version of a jar, the newest if version is 0, or ErrNotFound.
func (db *DB) Jar(name string, version int) (rise.Jar, error) {
	return getVersion[rise.Jar](db, bucketJars, name, version)
}

// Jars returns the newest version of every jar, by name.
func (db *DB) Jars() ([]rise.Jar, error) { return newestVersions[rise.Jar](db, bucketJars) }

// PutStarter stores a starter's description as the next version of its name.
func (db *DB) PutStarter(name string, doc json.RawMessage) (version int, err error) {
	return db.putDocument(bucketStarters, name, doc)
}

// Starter returns a version of a starter's description, the newest if version is 0, or ErrNotFound.
func (db *DB) Starter(name string, version int) (Document, error) {
	return getVersion[Document](db, bucketStarters, name, version)
}

// Starters returns the newest version of every starter's description, by name.
func (db *DB) Starters() ([]Document, error) { return newestVersions[Document](db, bucketStarters) }

// PutRecipe stores a recipe as the next version of its name.
func (db *DB) PutRecipe(name string, doc json.RawMessage) (version int, err error) {
	return db.putDocument(bucketRecipes, name, doc)
}

// Recipe returns a version of a recipe, the newest if version is 0, or ErrNotFound.
func (db *DB) Recipe(name string, version int) (Document, error) {
	return getVersion[Document](db, bucketRecipes, name, version)
}

// Recipes returns the newest version of every recipe, by name.
func (db *DB) Recipes() ([]Document, error) { return newestVersions[Document](db, bucketRecipes) }

// Document is a versioned thing whose content the store does not look into.
type Document struct {
	Name    string          `json:"name"`
	Version int             `json:"version"`
	Body    json.RawMessage `json:"body"`
}

func (db *DB) putDocument(kind []byte, name string, body json.RawMessage) (int, error) {
	d := Document{Name: name, Body: body}
	err := db.putVersion(kind, name, func(version int) any {
		d.Version = version
		return d
	})
	return d.Version, err
}

// putVersion stores what at returns for the next version of a name.
func (db *DB) putVersion(kind []byte, name string, at func(version int) any) error {
	if err := cleanName(string(kind), name); err != nil {
		return err
	}
	err := db.update(func(w *writer) error {
		b, err := w.in(kind).sub(name)
		if err != nil {
			return err
		}
		k, _ := b.Cursor().Last()
		version := keyNumber(k) + 1
		rec, err := encode(at(int(version)))
		if err != nil {
			return err
		}
		return b.Put(key32(version), rec)
	})
	if err != nil {
		return fmt.Errorf("%s %s: %w", kind, name, err)
	}
	return nil
}

func getVersion[T any](db *DB, kind []byte, name string, version int) (v T, err error) {
	err = db.view(func(tx *bolt.Tx) error {
		b := tx.Bucket(kind).Bucket([]byte(name))
		if b == nil {
			return ErrNotFound
		}
		rec := b.Get(key32(uint32(version)))
		if version == 0 {
			_, rec = b.Cursor().Last()
		}
		if rec == nil {
			return fmt.Errorf("version %d: %w", version, ErrNotFound)
		}
		return decode(rec, &v)
	})
	if errors.Is(err, ErrNotFound) {
		return v, hintf(fmt.Sprintf("'nightjar %s list' shows what there is.", kind), "%s %s: %w", kind, name, err)
	}
	if err != nil {
		return v, fmt.Errorf("%s %s: %w", kind, name, err)
	}
	return v, nil
}

func newestVersions[T any](db *DB, kind []byte) ([]T, error) {
	var all []T
	err := db.view(func(tx *bolt.Tx) error {
		b := tx.Bucket(kind)
		return b.ForEachBucket(func(name []byte) error {
			_, rec := b.Bucket(name).Cursor().Last()
			var v T
			if err := decode(rec, &v); err != nil {
				db.damaged(fmt.Sprintf("%s %s", kind, name), err)
				return nil
			}
			all = append(all, v)
			return nil
		})
	})
	if err != nil {
		return all, fmt.Errorf("%s: %w", kind, err)
	}
	return all, nil
}
