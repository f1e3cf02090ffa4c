// Package files keeps captures as files named by the SHA-256 of their bytes, and
// uploads on their way to become one. Any store of records can stand beside it.
//
// A capture is written under another name, synced, renamed, and its folder synced:
// a name that is a hash always has all its bytes, and it is there after a power cut
// once Finish has returned. Nothing is ever written to it again.
//
// It also holds the keys of customers, one file each, which is how personal data
// is erased: without its key a customer's data is noise, in this store and in every
// backup made without keys.
package files
