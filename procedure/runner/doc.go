// Package runner steps through a checked procedure with a real clock: entries in,
// decisions out. It is pure and deterministic. The state of a run is a function of
// its entries alone, so that a run killed at any instant is resumed by replaying
// what was stored.
//
// An entry is what a person, a feed or the shell says at a moment (Stamp). Offer
// asks whether it is accepted; Take accepts it. The shell stores an accepted entry
// durably and only then takes and acknowledges it (Session does it in that order).
//
// # Time
//
// A stamp holds the wall clock, a monotonic clock and the boot it belongs to. The
// least time that has passed between two stamps of one boot is the difference of the
// monotonic clocks; across a boot it is the monotonic time of the later stamp, since
// the boot came after the earlier one. A wait of "at least" counts only time that has
// surely passed: a wall clock that is set forward ends no wait, a device that sleeps
// ends none early. A wait of "at most" takes the longest time that may have passed.
// Long harmless waits may be counted by the wall clock (wait.wall_ok in the file).
//
// # What can be refused
//
// An event that the machine does not allow, with the reasons in plain sentences; one
// that a never rule forbids (for a checked procedure this never happens); one made on
// an older view of the step than there is (Seen), such as a second device's
// confirmation of an attempt that was interrupted since.
package runner
