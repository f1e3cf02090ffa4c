// Package trace holds sampled signals: channels on one time base, cut into
// segments with dead time between them, and reads them from delimited text and
// WAV. It also makes the min/max views a screen draws from.
//
// The file is the evidence; what this package decodes is a copy that can be
// made again at any time.
package trace
