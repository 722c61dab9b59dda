// Package bell holds the rules of waking people: how loudly an alert is told, what waits for the morning, how often a
// bell rings, and what is said at bedtime. It is pure: times are handed in, in the baker's zone, and nothing is sent.
//
// The rules in short: a dough that is ready, past its target or falling wakes. A slow dough wakes only if acting tonight
// helps, a fault only if it has lasted and the dough could be ready before the quiet hours end. All else waits for the
// morning. A bell rings six times, five minutes apart, unless somebody answers.
package bell
