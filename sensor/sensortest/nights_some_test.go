//go:build !slow

package sensortest_test

// everyNight is false: a few nights of faults.
const everyNight = false
