// Package mqtt speaks MQTT 3.1.1 to one broker for one device.
//
// # Topics
//
//	nightjar/<device>/availability       retained; online, offline; also the last will
//	nightjar/<device>/<station>/state    retained JSON; only the newest is worth sending
//	nightjar/<device>/<station>/alert    JSON of notify.Message, QoS 1, not retained
//	nightjar/<device>/<station>/command  JSON of one action, read here
//	nightjar/<device>/<station>/reply    JSON, the answer to a command
//
// # Delivery
//
// An alert is delivered when the broker's PUBACK for its packet was read from the wire. The tokens of the client
// library are no proof: after a reconnect they complete without an error although no acknowledgement came
// (eclipse-paho/paho.mqtt.golang issues 563, 613). The library's store is told of real acknowledgements only, so that
// is where they are taken from. Behind an embedded broker not even a PUBACK proves anything: see Options.Unproven.
//
// # Traps avoided
//
// Every connection is a client of the library of its own, with its reconnecting switched off: what was in flight comes
// from the outbox again, not from the library's memory, and one loss is followed by one connect. Nothing is published
// by the caller's goroutine, since a publish on a half-open link blocks until its time-out.
//
// A PUBACK is the broker's word, and a broker that is killed breaks it for what it had not yet sent on. So does a consumer
// that stops reading when it cannot write: of 10,000 alerts through a mosquitto 2.0.11 that was killed 117 times, such a
// consumer missed 8, one that reads to the last byte none. Rings that repeat until a person answers are the remedy.
//
// MQTT 3.1.1 has no refusal of a publish: a broker whose access rules forbid a topic may acknowledge and drop it.
package mqtt
