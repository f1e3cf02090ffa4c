// Package checker explores every state a procedure can reach and says whether it
// may be started.
//
// Explored are all orders that the partial order allows, an interruption of every
// kind at every moment, feeds that come and go, waits broken early, readings in
// every band, handing over and taking up again. Time is abstracted to the order of
// thresholds: a wait is running or over, a limit is met or not; how long anything
// takes is the runner's matter. Environment is free: whatever may happen, may
// happen at any moment.
//
// What is shown, for every reachable state:
//
//   - no never rule of a hazard class or of the file is broken;
//   - a safe resting state can be reached from it by stopping and making safe only:
//     no command, no feed and no main step is needed;
//   - while it runs there is always something to begin, confirm, wait for or finish;
//   - finished can be reached from it, unless a question refused the vehicle;
//
// and over all states: each step can be begun and done, each outcome comes about,
// no command starts unless the last movement has rested and its watches hold, and
// no step is done with fewer independent means than it asks for. The last three are
// read off the transitions themselves, by other code than that which allows them.
//
// A bound on the number of states makes a run end. Reaching it means not passed.
package checker
