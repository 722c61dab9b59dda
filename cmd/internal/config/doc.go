// Package config reads nightjar's one TOML file into a checked value.
//
// ParseConfig fills in every default, so the rest of the program sees only sound values; an empty or absent file is one
// station "main" on bus 1 with the chip detected. Whatever is wrong is an *Error that names the line and says what to
// write instead. The file deploy/nightjar.toml shows every key with its default and unit.
//
// Jars, starters, recipes and runs are data in the store and have no place here. Secrets are named by file (ReadSecret)
// and never stand in the configuration itself.
package config
