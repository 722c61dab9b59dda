// Package replay folds recordings as if they were being measured, and prints what was known along the way.
//
// A line uses only the readings up to its own time, so replay shows what a baker would have been told then. The last
// line of each recording sums it up: base level, time of the target, peak, and the forecasts as they stood at 25, 50
// and 75 % of the rise.
package replay
