// Package watch judges a stream of samples of something that must hold during a
// step, such as the supply voltage.
//
// A Monitor takes samples as they come and says in which Level it stands. A level
// gets worse only when samples have stood beyond its limit for the debounce time:
// the inrush of a motor (20 to 60 ms) is a dip, not a sag. Dips are counted. A feed
// that is older than its greatest age is NotWatched: it never passes, and it never
// stops a movement that is under way.
//
// What is kept for each step is a Summary: lowest and highest value seen, time
// below each limit, time not watched, dips, and a small plot. From slow sampling the
// lowest value is only "lowest seen": a shorter dip may have been missed.
//
// The debounce knows the sample rate: a level gets worse only on two samples in a row
// that are at least the debounce time apart. A single sample, at whatever rate, never
// stops anything; when the next is late it is a question (LowestSeen).
//
// Parsers turn what a growing file, standard input or a posted body holds into
// samples. They keep what they could not read as notes and never guess.
//
// The package is pure: the time of each sample and the time of asking are passed in.
package watch
