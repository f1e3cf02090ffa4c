package sim

import (
	"bytes"
	"fmt"
	"math/rand/v2"
)

// Exchange is one diagnostic request and the answers of the modules to it.
type Exchange struct {
	Seconds float64
	Request []byte // service and data, sent to all (7DF)
	Answers []Reply
}

// Reply is the payload of one module: service+40, data.
type Reply struct {
	Module  uint32 // answering CAN id, 7E8 to 7EF, or 18DAF1xx
	Pending bool   // "wait" (7F xx 78) first
	Payload []byte
}

// Session is what a person reads out at reception: readiness, live data, freeze
// frame source, codes confirmed, pending and permanent, misfire monitor results
// of the last cycle and over ten, VIN and calibration id. counts is per cylinder
// this cycle, register the weighted one; codes are two-byte codes, nil when
// nothing is stored.
type Session struct {
	Counts    []int
	Register  []float64
	Confirmed []uint16
	Pending   []uint16
	Permanent []uint16
	Row       Row
	// Frozen is the moment stored with the first confirmed code; nil: no freeze frame
	// is read.
	Frozen *Row
	// NotReady sets the monitors in byte D of the readiness answer.
	NotReady byte
}

// Session makes one from a drive: counts from the last drive, the register from
// ten of them, codes by the rule that one cylinder with more than 90 % of the
// misfires has its own (40 CFR 86.010-18 (h)(2)(i)) and that 1 % of 1000
// revolutions sets a pending, two such drives a confirmed code.
func (v *Vehicle) Session(rng *rand.Rand, legs []Leg) Session {
	n := v.Engine.Cylinders
	s := Session{Counts: make([]int, n), Register: make([]float64, n)}
	past := make([][]int, n)
	over := make([]uint16, 0, 10)
	for range 10 {
		c := v.MisfireCounts(rng, legs)
		total, opp := 0, 0
		for i := range c {
			past[i] = append(past[i], c[i])
			total += c[i]
		}
		for _, l := range legs {
			if l.State == "load" {
				opp += v.opportunities(l) * n
			}
		}
		code := uint16(0)
		if opp > 0 && float64(total) > 0.02*float64(opp) {
			code = 0x0300
			for i := range c {
				if float64(c[i]) > 0.9*float64(total) {
					code = 0x0301 + uint16(i)
				}
			}
		}
		over = append(over, code)
	}
	for i := range past {
		s.Counts[i] = past[i][9]
		s.Register[i] = WeightedRegister(past[i])
	}
	if a, b := over[8], over[9]; b != 0 {
		s.Pending = []uint16{b}
		if a != 0 {
			s.Confirmed, s.Permanent = []uint16{b}, []uint16{b}
		}
	}
	rows := v.ParameterLog(rng, legs[:1], 1)
	s.Row = rows[len(rows)-1]
	return s
}

// Messages turns the session into exchanges with the engine module (7E8) and,
// for service 01, a transmission module (7E9) that answers in between.
func (v *Vehicle) Messages(rng *rand.Rand, s Session) []Exchange {
	t := 0.0
	var out []Exchange
	say := func(req []byte, replies ...Reply) {
		out = append(out, Exchange{Seconds: t, Request: req, Answers: replies})
		t += 0.12 + 0.02*rng.Float64()
	}
	engine := func(b ...byte) Reply { return Reply{Module: 0x7E8, Payload: b} }
	gearbox := func(b ...byte) Reply { return Reply{Module: 0x7E9, Payload: b} }
	mil := byte(len(s.Confirmed))
	if mil > 0 {
		mil |= 0x80
	}
	pct := func(x float64) byte { return byte(min(255, max(0, x*255/100+0.5))) }
	trim := func(x float64) byte { return byte(min(255, max(0, x*1.28+128.5))) }
	r := s.Row
	say([]byte{0x01, 0x00}, engine(0x41, 0x00, 0xBE, 0x3F, 0xA8, 0x13), gearbox(0x41, 0x00, 0x80, 0x18, 0x00, 0x01))
	say([]byte{0x01, 0x01}, engine(0x41, 0x01, mil, 0x07, 0x65, s.NotReady), gearbox(0x41, 0x01, 0, 0x04, 0, 0))
	rpm := uint16(max(0, r.RPM) * 4)
	say([]byte{0x01, 0x0C}, engine(0x41, 0x0C, byte(rpm>>8), byte(rpm)))
	say([]byte{0x01, 0x04, 0x05, 0x06, 0x07}, engine(0x41, 0x04, pct(r.LoadPct), 0x05, byte(r.CoolantC+40), 0x06, trim(r.ShortPct[0]), 0x07, trim(r.LongPct[0])))
	if len(r.ShortPct) > 1 {
		say([]byte{0x01, 0x08, 0x09}, engine(0x41, 0x08, trim(r.ShortPct[1]), 0x09, trim(r.LongPct[1])))
	}
	air := uint16(r.AirGS * 100)
	say([]byte{0x01, 0x10}, engine(0x41, 0x10, byte(air>>8), byte(air)))
	for _, c := range []struct {
		service byte
		codes   []uint16
	}{{0x03, s.Confirmed}, {0x07, s.Pending}, {0x0A, s.Permanent}} {
		b := []byte{c.service + 0x40, byte(len(c.codes))}
		for _, x := range c.codes {
			b = append(b, byte(x>>8), byte(x))
		}
		say([]byte{c.service}, engine(b...), gearbox(c.service+0x40, 0))
	}
	if s.Frozen != nil && len(s.Confirmed) > 0 {
		code, at := s.Confirmed[0], s.Frozen
		rpm := uint16(max(0, at.RPM) * 4)
		say([]byte{0x02, 0x02, 0x00}, engine(0x42, 0x02, 0x00, byte(code>>8), byte(code)))
		say([]byte{0x02, 0x04, 0x00}, engine(0x42, 0x04, 0x00, pct(at.LoadPct)))
		say([]byte{0x02, 0x05, 0x00}, engine(0x42, 0x05, 0x00, byte(at.CoolantC+40)))
		say([]byte{0x02, 0x0C, 0x00}, engine(0x42, 0x0C, 0x00, byte(rpm>>8), byte(rpm)))
		say([]byte{0x02, 0x0D, 0x00}, engine(0x42, 0x0D, 0x00, byte(at.SpeedKmh)))
	}
	for i := range s.Counts {
		mid := byte(0xA2 + i)
		b := []byte{0x46}
		for _, x := range []struct {
			tid byte
			n   int
		}{{0x0B, int(s.Register[i] + 0.5)}, {0x0C, s.Counts[i]}} {
			n := min(x.n, 0xFFFF)
			b = append(b, mid, x.tid, 0x24, byte(n>>8), byte(n), 0, 0, 0xFF, 0xFF)
		}
		say([]byte{0x06, mid}, engine(b...))
	}
	say([]byte{0x09, 0x02}, Reply{Module: 0x7E8, Pending: true, Payload: append([]byte{0x49, 0x02, 0x01}, v.VIN...)})
	cal := make([]byte, 16)
	copy(cal, fmt.Sprintf("PV%d-%dCYL-A7", v.Year, v.Engine.Cylinders))
	say([]byte{0x09, 0x04}, engine(append([]byte{0x49, 0x04, 0x01}, cal...)...))
	return out
}

// frames cuts a payload into ISO 15765-2 frames of eight bytes, padded with AA.
func frames(payload []byte) [][]byte {
	pad := func(b []byte) []byte {
		for len(b) < 8 {
			b = append(b, 0xAA)
		}
		return b
	}
	if len(payload) <= 7 {
		return [][]byte{pad(append([]byte{byte(len(payload))}, payload...))}
	}
	out := [][]byte{append([]byte{0x10 | byte(len(payload)>>8), byte(len(payload))}, payload[:6]...)}
	for i, rest := 1, payload[6:]; len(rest) > 0; i++ {
		k := min(7, len(rest))
		out = append(out, pad(append([]byte{0x20 | byte(i&0xF)}, rest[:k]...)))
		rest = rest[k:]
	}
	return out
}

// frame is one CAN frame with its time.
type frame struct {
	at   float64
	id   uint32
	data []byte
}

// wire puts exchanges on the bus: request, flow control, answers of several
// modules interleaved frame by frame.
func wire(rng *rand.Rand, ex []Exchange) []frame {
	var out []frame
	for _, e := range ex {
		t := e.Seconds
		out = append(out, frame{t, 0x7DF, frames(e.Request)[0]})
		t += 0.004 + 0.006*rng.Float64()
		var queues [][]frame
		for _, a := range e.Answers {
			var q []frame
			if a.Pending {
				q = append(q, frame{0, a.Module, frames([]byte{0x7F, e.Request[0], 0x78})[0]})
			}
			fs := frames(a.Payload)
			for i, f := range fs {
				q = append(q, frame{0, a.Module, f})
				if i == 0 && len(fs) > 1 {
					q = append(q, frame{0, a.Module - 8, []byte{0x30, 0, 0, 0xAA, 0xAA, 0xAA, 0xAA, 0xAA}})
				}
			}
			queues = append(queues, q)
		}
		for more := true; more; {
			more = false
			for i := range queues {
				if len(queues[i]) > 0 {
					f := queues[i][0]
					queues[i] = queues[i][1:]
					f.at = t
					t += 0.0008 + 0.0008*rng.Float64()
					out = append(out, f)
					more = true
				}
			}
		}
	}
	return out
}

// Candump writes exchanges as log lines of the SocketCAN text form:
// (seconds.micros) interface id#data. epoch is added to the times.
func Candump(rng *rand.Rand, ex []Exchange, epoch int64) []byte {
	var b bytes.Buffer
	for _, f := range wire(rng, ex) {
		fmt.Fprintf(&b, "(%010d.%06d) can0 %03X#%X\n", epoch+int64(f.at), int64((f.at-float64(int64(f.at)))*1e6), f.id, f.data)
	}
	return b.Bytes()
}

// HexLines writes exchanges as plain lines of request and answer, with CAN ids
// and spaces.
func HexLines(rng *rand.Rand, ex []Exchange) []byte {
	var b bytes.Buffer
	for _, f := range wire(rng, ex) {
		fmt.Fprintf(&b, "%03X % X\n", f.id, f.data)
	}
	return b.Bytes()
}
