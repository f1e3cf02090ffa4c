// Package figure draws a figure once for every place it is shown: the page, the
// HTML report and the PDF.
//
// A Drawing is a short list of paths, texts and marks in millimetres, origin at
// the top left. SVG writes it as text, PDF onto a page. A Plot makes one out of
// data: axes with ticks, lines, envelopes, bands, cursors, marks and labels.
//
// Lines differ by weight and dash and marks by shape, never by colour alone: what
// is drawn must survive a black and white printer. In SVG the ink is
// currentColor, so that a page may set it.
//
// Data come in decimated: a line holds at most MaxPoints points. For a long
// channel take least and greatest values by column (trace.Pyramid) and give them
// as an envelope, which loses no spike.
package figure
