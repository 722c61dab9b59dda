// Package store keeps a device's readings, actions, runs, jars and alerts in one bbolt file.
//
// Raw is the truth: readings, actions and issued alerts are stored as they came and never changed. Whatever can be
// computed from them is not stored.
//
// # Durability
//
// What an action or an alert returns is on the card before it is answered. Readings are gathered in memory and
// committed in batches, because one commit costs some 36 kB of card writes however small it is; every commit takes
// the readings gathered so far with it. Readings that are not yet committed are seen by every reader of the same DB.
//
// # Format, schema 1
//
// Pages are 4096 bytes whatever the machine's page size. Integers are big-endian. A record is
//
//	offset  size  meaning
//	0       1     version of the record's layout
//	1       n     payload
//	1+n     4     CRC-32C (Castagnoli) of all bytes before it
//
// Payloads are JSON unless stated otherwise. Buckets:
//
//	meta      key "schema": the schema's number, 4 bytes, no record around it
//	          key "device": the device's name, plain text
//	          key "seq": the last alert sequence number, 8 bytes
//	boots     key: boot number, 4 bytes; payload: the kernel's boot id and the first anchor
//	anchors   key: stamp (boot 4 bytes, nanoseconds 8 bytes); payload: rise.Anchor
//	readings  a bucket per station; key: stamp of the chunk's first reading, 12 bytes; payload: a chunk, binary (below)
//	actions   key: stamp of the telling (12 bytes), then a counter (4 bytes); payload: rise.Action
//	actionids key: the caller's id; value: the key in actions, no record around it
//	runs      key: run number, 4 bytes; payload: rise.Run
//	open      key: station; value: the number of its open run, 4 bytes, no record around it
//	jars      a bucket per name; key: version, 4 bytes; payload: rise.Jar
//	starters, recipes  as jars
//	alerts    key: station 0x00 run (4 bytes) kind 0x00 episode (4 bytes); payload: rise.Alert
//	outbox    a bucket per route; key: alert sequence, 8 bytes; payload: rise.Delivery without the alert, and the
//	          alert's key
//	alertids  key: alert id; value: the key in alerts, no record around it
//
// The layout of a chunk of readings is documented with its code, in chunk.go.
package store
