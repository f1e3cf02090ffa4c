// Package cli is the command line: one file for each command. Text is made for
// an 80-column terminal and a person in a hurry; --json prints the same answer
// for programs.
package cli
