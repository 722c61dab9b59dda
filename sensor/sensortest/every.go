//go:build slow

package sensortest

// everyBit makes the suite flip every bit of every transfer.
const everyBit = true
