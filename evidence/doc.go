// Package evidence holds the words that pass between measuring and reasoning:
// what was looked at (Subject), under which condition, with which result
// (Reading), and how that result stands to its limit, to the other cylinders or
// to its own earlier value (Finding).
package evidence
