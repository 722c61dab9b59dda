// Package schema holds the JSON Schemas (draft 2020-12) of what the device publishes and takes over MQTT and push.
//
//	alert.json      nightjar/<device>/<station>/alert, and the body of a push with the preset "message"
//	state.json      nightjar/<device>/<station>/state
//	command.json    nightjar/<device>/<station>/command
//	reply.json      nightjar/<device>/<station>/reply
//	discovery.json  the announcement for a home automation
//
// A schema only ever grows: a reader must ignore properties that it does not know.
package schema

import "embed"

// Files holds the schemas.
//
//go:embed *.json
var Files embed.FS
