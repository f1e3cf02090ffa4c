// Package store says what the workbench needs from whatever keeps its records, and
// nothing about how: SQLite in one file now, a database server later. Every store
// runs through the same contract (package storetest).
//
// What lies where. Entries of jobs are the record: written once, never changed,
// their bytes kept as they came. Captures are files by the SHA-256 of their bytes.
// Beside the chain lie personal data of customers, each customer's under one key;
// erasing destroys the key, and no chain breaks. Board rows are derived and can be
// made again from the entries.
//
// Two promises carry the rest. Append returns when the entries would survive a
// power cut. And an entry never cites a capture that is not on disk: the file and
// its folder are synced before the entry that names it is written.
package store
