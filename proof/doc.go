// Package proof answers "is it fixed?" with what was driven and measured, not
// with how it felt.
//
// A fault that comes and goes shows itself in episodes: clusters of events close
// in time, counted once, because misfires clump. Before the repair the fault
// showed x episodes in t1 seconds inside its fault conditions (engine speed,
// load, gear, warm-up). If nothing had changed, the chance to drive another t2
// seconds inside them without an episode would be
//
//	(t1 / (t1 + t2))^x
//
// (the split of a Poisson total over two exposures is binomial; Przyborowski and
// Wilenski, Biometrika 31 (1940) 313). It falls to 5 in 100 at
//
//	t2 = t1 (20^(1/x) - 1)
//
// One episode needs 19 times the time before, two 3.5 times, five 0.82 times.
// That much says that something changed. To say that the fault is gone takes
// more: the upper 95 % bound of the rate after over the rate before must be at
// most a fifth, which is five times that drive, or a measurement of the part.
//
// Time is counted in cells of engine speed and load, each only up to its own
// need, so that easy seconds cannot pay for hard ones. Where it is in doubt
// whether a second was inside, it counts before the repair and not after: both
// make the proof harder.
//
// Nothing here opens a file or asks for the time: Logs go in, a Verdict and a
// Plan come out.
package proof
