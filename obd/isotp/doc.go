// Package isotp puts the messages of ISO 15765-2 together from CAN frames.
//
// Frames of several modules may be interleaved: reception is kept for each bus
// and CAN id. Lost, repeated and out-of-order frames, unexpected ones and
// messages that never end are noted with their place; a message is only handed
// out when every byte of its declared length was seen. Flow control is
// understood and noted where it refuses, and never needed, because a capture
// holds both sides.
//
// Receiver rules (ISO 15765-2 by way of the sources in our reference):
//   - a single or first frame during a reception drops the old one and starts
//     the new one;
//   - a consecutive frame without a first frame is ignored;
//   - a wrong sequence number ends the reception;
//   - a first frame that announces what fits a single frame is ignored;
//   - a single frame of length 0 or longer than the frame is ignored.
//
// One departure: a consecutive frame that repeats the one before it, number and
// bytes alike, is skipped with a note instead of ending the reception. Captures
// hold such doubles when they were taken behind a gateway.
package isotp
