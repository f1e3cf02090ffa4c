// Package trace holds sampled signals: channels on one time base, cut into
// segments with dead time between them, and reads them from delimited text and
// WAV. It also makes the min/max views a screen draws from.
//
// The file is the evidence; what this package decodes is a copy that can be
// made again at any time.
//
// How delimited text is read. The first 256 KiB are looked at to find encoding,
// delimiter, decimal mark, header, units and the column of time (a plan). The
// rows then go through a scanner that takes each line in one pass over its
// bytes; a line that is anything but plain numbers is read again the careful
// way, which also writes the notes. Chunks of 1 MiB may be scanned by several
// workers; the result does not depend on how many.
//
// Nothing is repaired or dropped in silence: what was found out, what was
// undone and what could not be used is in Recording.Notes, with line numbers,
// and Lost is set where data could not be used.
//
// Dead time. A step between stamps that is much longer than the usual one is a
// pause in which nothing was measured, and cuts the recording into segments;
// so does a clock that runs backwards. In an edge list a long step is no pause.
package trace
