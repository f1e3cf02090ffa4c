// Package evaluate plays simulated vehicles to the end under the advice of
// package reason and keeps score.
//
// The vehicles are abstract: an instance of a fault book, a hidden truth, and
// test outcomes drawn from it. The truth does not use the book's own numbers,
// or the score would mean nothing; it differs in these ways:
//
//   - the rate of each fault and its chance to bring the complaint are off by a
//     factor that is log-normal with a median of 1 and a spread of 2;
//   - the odds of each outcome under each fault, and under no fault, are doubled
//     or halved at random: misses and false alarms are off by a factor of 2;
//   - one cause in ten is not in the book: it makes a random quarter of the
//     tests of one cylinder abnormal;
//   - several faults give the worst of their outcomes, not the book's combination;
//   - numeric readings lie towards the middle of their stretch, and their noise
//     is a Student t with 4 degrees of freedom, 1.3 times as wide as stated;
//   - repeating a test gives the same outcome in four of five cases;
//   - minutes are off by a log-normal factor with a spread of 1.3.
//
// The package is pure: the seed is passed in, and the same seed gives the same
// table.
package evaluate
