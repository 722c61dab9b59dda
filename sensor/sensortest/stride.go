//go:build !race

package sensortest

// stride is how many transfers lie between two that the suite spoils: each is.
const stride = 1
