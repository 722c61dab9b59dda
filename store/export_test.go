package store

// LimitSize makes the store refuse to grow beyond a size, as a full disk does, until the function it returns is called.
func (db *DB) LimitSize(bytes int) func() {
	db.file.MaxSize = bytes
	return func() { db.file.MaxSize = 0 }
}

// NoSync leaves out the waiting for the card, for tests that are about what is written and not about when.
func (db *DB) NoSync() { db.file.NoSync, db.file.NoGrowSync = true, false }

// Schema is the current schema.
var Schema = schema()
