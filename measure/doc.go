// Package measure turns captures into readings, and readings into findings.
//
// A reading is one number with its unit, its standard uncertainty, how many
// events stand behind it, warnings about how well it was measured, and the
// samples it came from. Capture makes readings from a recording, Diagnostics
// from decoded module messages. What could not be measured is part of the
// result, with the reason and what would make it measurable: a flat line, noise
// or a wrong channel never gives a number that looks sure.
//
// A finding is a reading judged: Judge holds readings against the other
// cylinders, a limit, or nothing, and says in trade English how they stand and
// how sure that is. Compare is the comparison of cylinders underneath.
//
// Everything is pure: values in, values out. One file for each kind of capture.
// All thresholds stand in traits.go and limits beside their feature, with a
// source or the words "our choice".
package measure
