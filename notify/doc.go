// Package notify carries alerts and states out of the door: over MQTT, to a broker elsewhere or to the embedded one.
//
// An alert is stored before it is sent (Outbox), is sent again under the same id until its route has delivered it, and
// is recognisable as the same by that id. A state is only worth its newest value: at most one per topic waits.
package notify
