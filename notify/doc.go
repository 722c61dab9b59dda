// Package notify carries alerts and states out of the door: over MQTT, to a broker elsewhere or to the embedded one, as
// an HTTP POST to any push service, and to a buzzer.
//
// An alert is stored before it is sent (Outbox), is sent again under the same id until its route has delivered it, and
// is recognisable as the same by that id. A state is only worth its newest value: at most one per topic waits.
//
// A way out is a Sender, which hands over one alert and says whether it was taken. A Route does the rest for it: order,
// back-off, what is no longer worth sending, what waits for the morning, what a person has answered meanwhile.
//
//	mqtt       the client: alerts, retained states, commands in
//	broker     the broker inside the daemon
//	push       HTTP POSTs, and links that acknowledge
//	buzzer     a buzzer on a GPIO pin
//	discovery  the announcement to a home automation
//	bell       whom to wake, when, and how often: rules without a wire
//	schema     JSON Schemas of what is sent and taken
//	topic      MQTT topic filters
//	notifytest an outbox in memory, the suite for outboxes, certificates for tests
//
// # Traps
//
// Delivered means that the peer's acknowledgement was read. It does not mean that anybody looked: what wakes rings until
// a person answers. An alert may arrive twice, so that a consumer drops an id that it has seen.
package notify
