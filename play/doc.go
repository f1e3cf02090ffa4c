// Package play sends simulated vehicles through the whole program: a vehicle
// with a hidden fault from sim writes capture files and answers typed tests, the
// job folder goes through intake, measurement and odds, the tool's own advice is
// followed until it says stop, and the end is scored.
//
// The vehicles are drawn and behave by the physics of package sim, which shares
// no constant with any fault book; some of their faults are in no book at all.
package play
