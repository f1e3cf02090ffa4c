// Package book holds fault books: knowledge as data. A book names components,
// the ways they fail (faults), the tests that tell them apart, and how likely
// each outcome of a test is under each fault. Every number carries its source.
//
// A book is written for "a four-stroke petrol engine", not for one vehicle.
// Instantiate turns it into suspects and tests for one engine layout: one spark
// plug suspect for each cylinder, one coil suspect for each waste-spark pair.
//
// Shop and job additions are overlays: books of the same form that add
// components, faults and tests and never change a number of another book.
package book
