// Package shop holds the use cases: what the command line and the web both
// call. It owns the clock, identity and files; everything it calls to the left
// is pure.
//
// The first use case is Diagnose: a job folder goes in, an Answer comes out.
package shop
