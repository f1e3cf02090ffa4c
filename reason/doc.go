// Package reason turns findings into odds over component faults, says which
// finding moved which suspect and by how much, which readings disagree, and
// which test to do next.
//
// It is pure: values in, values out. Hypotheses are sets of up to three faults
// at once, "nothing wrong", and "something not listed".
package reason
