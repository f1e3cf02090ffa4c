// Package sqlite is a store in one SQLite database with the capture files beside
// it. docs/store.md describes the folder byte by byte.
//
// One process writes, held by a lock on a file of its own; readers (a backup, a
// check) may come in at any time, since the database keeps a write-ahead log.
// Every transaction is synced to disk before Append returns.
//
// SQL is written with ?1 ?2 placeholders only: with $1 $2 one of the two engines
// the tests run on binds by order of appearance and silently answers for another
// row. A test forbids them.
package sqlite
