// Package table lays a checked procedure out as an explicit state table that a small
// interpreter can run in a browser page while the server is away: facts, steps,
// conditions as data, timers, watches, interruptions and recovery, and every text by
// key. The interpreter is web/assets/procedure-table.js.
//
// The table holds no rule of its own: it is the machine that the checker explored,
// written out. The page keeps entries with their stamps, as the runner does, and sends
// them when the server is back; the server's runner is what counts. That both say the
// same is shown by traces (testdata): random runs with refusals, interruptions, waits,
// jumping clocks and typed readings that drive the Go runner and the page's interpreter
// to the same states, the same open steps and the same words.
package table
