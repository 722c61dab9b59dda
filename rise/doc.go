// Package rise turns distance readings of a dough sample into percent rise, a phase and a forecast.
//
// It is pure: slices and values in, values out. It imports nothing else of this project, does no input or output,
// reads no clock, logs nothing and keeps no global state. The same readings give the same answer, to nine
// significant digits, on every machine.
//
// # Concepts
//
// A Reading is one tick of a station, raw and never changed. A Jar turns its range into a level and a volume. A Tracker
// folds the readings and the actions of one Run, in order, into an Estimate after each of them: the multiple of the
// base volume with its standard uncertainty, the rate, the phase, the forecast and the alerts whose condition holds.
// Every step is causal: the Estimate for a moment uses nothing that was read or done later. Folding the same readings
// from scratch gives the same estimates, so nothing derived needs to be stored.
//
// Beside the run stands the rest of the baker's job, as plain functions of plain data: a Recipe comes to a Formula, a
// Starter is judged by the Vigour of its feedings (Assess), a dough or a feeding is planned for an hour (PlanReady,
// PlanMix, PlanFeed, Replan), a Piece cools (After, StopFor), and the last bakes give at most one change (Advise).
//
// Because it is imported by every other package, the plain data that crosses package borders lives here too: Burst,
// Reading, Jar, Run, Action, Alert, Delivery, Anchor and Timeline.
//
// # Traps
//
// Numbers that may be unknown are of type Num, whose zero value is unknown; NaN and infinity never travel. Rates are
// per hour, levels in millimetres above the jar's floor, temperatures in °C, masses in grams, volumes in millilitres.
package rise
