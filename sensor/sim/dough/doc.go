// Package dough simulates a fermenting dough in a jar: yeast that wakes and grows, sugar that it eats and that the
// flour's enzymes set free, carbon dioxide that must dissolve before bubbles grow, bubbles that leak and collapse, fresh
// dough that slumps, a surface that domes and blisters, and a kitchen whose temperature moves.
//
// It is the truth that forecasts are tested against, so it holds none of the curves that a forecast fits: the rise is
// the outcome of a mass balance that is integrated over time. Two mechanisms that share no rate law are offered, so that
// a forecast tuned on one can be tried on the other: Monod (yeast by Monod and inhibition with a square-root temperature
// law, one gas phase that leaks as its walls open) and Film (two sugars taken in turn, growth bound to nutrient, an
// Arrhenius temperature law with inactivation, a population of bubbles in elastic films that burst one size at a time).
//
// # Concepts
//
// A Culture is a starter: it stays the same from night to night. Params are one night's dough made with it. A Dough is
// stepped through time with the temperature of the sample; Simulate does so for a whole night in a Room. Everything is
// pure and seeded: the same Params and temperatures give the same answers to nine digits on every machine.
//
// # Traps
//
// Amounts of gas are in litres at 25 °C and 100 kPa per kilogram of dough unless a name says otherwise. Multiple counts
// from the settled dough's own volume at mixing, without the voids that slump away: the lowest level seen is a little
// above that base where the dough began to rise before it had settled.
package dough
