//go:build slow

package sensortest_test

// everyNight makes the nights of faults many.
const everyNight = true
