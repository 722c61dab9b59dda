//go:build !slow

package sensortest

// everyBit is false: the suite flips some bits of every transfer.
const everyBit = false
