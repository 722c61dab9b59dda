// Package store keeps a device's readings, actions, runs, jars and alerts in one bbolt file.
//
// Raw is the truth: readings, actions and issued alerts are stored as they came and never changed. Whatever can be
// computed from them is not stored. Readings are kept for ever: a year of them takes a few megabytes.
//
// # Durability
//
// What an action or an alert returns is on the card before it is answered. Readings are gathered in memory and
// committed in batches, because one commit costs some 36 kB of card writes however small it is; every commit takes
// the readings gathered so far with it. Readings that are not yet committed are seen by every reader of the same DB.
// While the disk takes nothing (full, or mounted for reading only) they stay in memory, and every later commit tries
// again; what cannot wait returns the disk's error.
//
// # Damage
//
// bbolt has no checksum on its pages of data, and dies of a spoiled one. So every record has its own checksum; a
// record that fails it is left out and noted (DB.Damaged). The pages are checked by plain reads before the file is
// opened; a file whose tree of pages or free list is spoiled is not written to: Open returns ErrDamaged, or, with
// Options.Repair, moves it aside and goes on with a copy of what is readable. A page that is spoiled later, while the
// store is open, ends in the same.
//
// # Traps
//
// Only one process can have the store open: a command asks the running daemon. bbolt's files grow and never shrink.
// A read transaction keeps pages from being used again: none is open while a caller's code runs.
//
// # Format, schema 1
//
// Pages are 4096 bytes whatever the machine's page size. Integers are big-endian. A record is
//
//	offset  size  meaning
//	0       1     version of the record's layout: 1
//	1       n     payload
//	1+n     4     CRC-32C (Castagnoli) of all bytes before it
//
// Payloads are JSON unless stated otherwise. A stamp in a key is 12 bytes: boot number (4), nanoseconds since that
// boot began (8). Buckets:
//
//	meta       key "schema": the schema's number, 4 bytes, no record around it
//	           key "device": the device's name, plain text
//	           key "ledger": the transaction (8 bytes), then 8 bytes for each bucket (ledger.go)
//	boots      key: boot number, 4 bytes; payload: {"id": the kernel's boot id}
//	anchors    key: stamp; payload: rise.Anchor. Of anchors that agree within 50 ms the first and the last are kept
//	readings   a bucket per station; key: stamp of the chunk's first reading; payload: a chunk, binary (chunk.go)
//	actions    key: run number (4 bytes, 0 for none), stamp of the telling, counter (4 bytes); payload: rise.Action
//	runs       key: run number, 4 bytes; payload: rise.Run
//	jars       a bucket per name; key: version, 4 bytes; payload: rise.Jar
//	starters, recipes  as jars; payload: Document
//	summaries  key: run number, 4 bytes; payload: rise.Summary. A cache
//	alerts     key: station, 0x00, run (4 bytes), kind, 0x00, episode (4 bytes), ring (4 bytes); payload: rise.Alert.
//	           The bucket's sequence is the last alert's boot (24 bits) and sequence (40 bits)
//	outbox     a bucket per route; key: boot (4 bytes), alert sequence (8 bytes); payload: a pending delivery, with
//	           the alert's id instead of the alert
//	settled    key: alert id, 0x00, route; payload: the delivery that is no longer pending
//
// and indexes, which follow from the others and have no records around their values:
//
//	actionids  key: the caller's id; value: the key in actions
//	open       key: station; value: the number of its open run, 4 bytes
//	alertids   key: alert id; value: the key in alerts
//	active     key: the key in alerts of one that nobody acknowledged; no value
package store
