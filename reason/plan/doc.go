// Package plan is decision-theoretic troubleshooting on small problems, solved
// exactly: orders of repair actions, repairs with a service call or a postponed
// check, tests mixed with repairs, and the sequencing of perfect tests. It is
// the yardstick for the advice of package reason, which cannot afford to be
// exact, and it carries the worked examples of the literature in its tests.
//
// All problems assume one fault, with chances p that sum to at most one.
package plan
