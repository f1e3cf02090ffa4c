// Package compare holds recorded traces against a procedure after the fact: were the
// cycles done, were the rests long enough, did both sides move, was the clamp
// reached, how low did the supply fall.
//
// It takes movements and a supply trace as plain values. Finding movements in a
// trace is the measurement package's work; Movements is a simple finder for a motor
// current for when that is all there is. What cannot be told from what was recorded
// is said to be unknown, never assumed.
package compare
