// Package canlog reads captures of diagnostic messages: SocketCAN log lines,
// the console form of the same, pcap and pcapng files with CAN frames, and
// plain hex lines of requests and responses as a person or an interface writes
// them.
//
// Every record keeps where it stood (line or byte offset) and the bytes it was
// read from, so that any value decoded from it can be walked back. A line that
// cannot be read becomes a note and the rest of the file is still read; nothing
// is dropped without a note.
//
// The text forms are told apart line by line, because captures are pasted
// together:
//
//	(1700000000.012345) can0 7E8#04410C1AF8AAAAAA    log line
//	 can0  7E8   [8]  04 41 0C 1A F8 AA AA AA         console line
//	7E8 04 41 0C 1A F8                                hex line, with CAN id and length byte
//	7E8#04410C1AF8                                    the same, written as a log line does
//	41 0C 1A F8                                       hex line, message only
//	014 / 0: 49 02 01 31 47 31 / 1: 4A 43 ...         one message over several numbered lines
//
// Sources of the forms: can-utils lib.h and candump.c, tcpdump.org link-layer
// types 227 and 113, pcap-savefile(5).
package canlog
