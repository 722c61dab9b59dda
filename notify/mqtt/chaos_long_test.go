//go:build chaos

package mqtt

const chaosAlerts = 10_000
