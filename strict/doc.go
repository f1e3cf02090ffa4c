// Package strict reads YAML and JSON that people write by hand, and says where
// each thing that is wrong stands.
//
// A document becomes a tree of nodes with line and column, and the tree is
// decoded into Go values. Nothing is guessed and nothing is dropped: an unknown
// field, a wrong type, a field given twice or a value that is not a finite
// number is a Problem, and all problems of a document are collected, not only
// the first. Text stays as written: "yes", "2026-11-25" and 1.0 reach a string
// field as those very characters.
//
// Strangers' files are read with this package, so size, depth, the number of
// nodes and what aliases may expand to are bounded before anything is built.
// Tags, merge keys and several documents in one file are refused.
//
// The package is pure: bytes in, values and problems out.
package strict
