//go:build race

package sensortest

// stride is how many transfers lie between two that the suite spoils. The race detector slows everything down many times,
// and what it looks for is not in the last transfer.
const stride = 9
