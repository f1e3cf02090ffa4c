// Package stats holds the statistics of the bay that gonum lacks: exact limits
// for small counts, tests for "is one cylinder really worse", sequential tests
// for "is it fixed", outlier tables, and robust location and scale.
//
// Everything here is a closed form or an exact sum, so that the answers can be
// held against published tables (testdata/, each row with its source).
// Functions return NaN for arguments outside their domain and never panic.
package stats
