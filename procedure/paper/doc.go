// Package paper puts a procedure on paper: a checklist to work from when no screen
// is at hand, and a drawing of its order.
package paper
