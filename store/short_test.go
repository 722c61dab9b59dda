//go:build !slow

package store_test

// slow tells whether the long forms of tests are wanted.
const slow = false
