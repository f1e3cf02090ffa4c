// Package timeline lays recordings of several instruments on one line of time and
// holds what a person felt against every channel.
//
// Two instruments never start together and their clocks differ. Align finds the
// offset from a signal that both have recorded (battery voltage, engine speed): it
// slides one along the other, takes the place where they agree, and says how far
// off that may be. Where only one step is there to go by, it says so: any two
// steps fit on each other. A signal that repeats fits in many places and is
// refused.
//
// Felt takes the moments at which somebody said "now" and asks of each channel
// whether it changed about them more than about moments chosen at random, with
// the number of channels counted in. It finds what goes along with the complaint,
// which need not be its cause.
//
// Everything is pure: values in, values out.
package timeline
