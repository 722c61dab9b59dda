//go:build !chaos

package mqtt

// The short form of the chaos test; the build tag chaos runs the long one.
const chaosAlerts = 300
