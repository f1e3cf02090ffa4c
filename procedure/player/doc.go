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
// The run it plays is bare: the never rules, which a real run asks at every step, are
// not asked. What protects people here is only what the file itself says and the
// checker has proven.
//
// When someone is hurt although the checker passed the procedure, one of the two is
// wrong, and the build fails.
package player
