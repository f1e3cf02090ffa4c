// Package unit holds quantities: a value with the unit it was typed in.
//
// A quantity is kept as typed and converted once, to the SI unit of its
// dimension, when it enters the program. Everything inside works in SI;
// everything a person sees is converted back at the rim.
package unit
