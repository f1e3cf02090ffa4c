// Package player plays procedures at random against a vehicle whose true state the
// procedure cannot see.
//
// The World has a nut, a piston, pads, discs, hands, wheels, chocks, a key, leads and
// pressures of its own. It knows nothing of facts, guards or never rules: it is told
// only what people physically do ("pushes the left piston") and decides by its own
// physics what hurts or breaks. The technician of the player is honest and does what
// the runner lets through, in any order, with interruptions, jumping clocks, killed
// devices, strangers who touch things while nobody is there, dead motors, slipping
// gears and one means of confirmation that may lie.
//
// When someone is hurt although the checker passed the procedure, one of the two is
// wrong, and the build fails.
package player
