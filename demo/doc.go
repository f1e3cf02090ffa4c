// Package demo is an invented shop with jobs in every stage. Nothing in it is drawn:
// each job is a folder of examples/ replayed through the same commands that a person's
// taps would send, up to the point where it stands, and everything on the screens
// follows from those entries.
package demo
