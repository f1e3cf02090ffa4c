package procedure

import "math/bits"

// words is how many machine words a state takes. A procedure that does not fit
// is refused at compile time.
const words = 8

// State is one state of a machine, packed: facts, step phases, the means given,
// the motor, the mode, the bands of what is watched. It is comparable.
type State [words]uint64

// field is where a small number lives inside a State.
type field struct {
	word  uint8
	shift uint8
	mask  uint64 // unshifted
}

func (f field) get(s *State) uint64 { return s[f.word] >> f.shift & f.mask }

func (f field) set(s *State, v uint64) {
	s[f.word] = s[f.word]&^(f.mask<<f.shift) | v&f.mask<<f.shift
}

// layout hands out fields.
type layout struct{ word, bit int }

// take gives a field for n values.
func (l *layout) take(n int) field {
	w := bits.Len(uint(n - 1))
	if w == 0 {
		w = 1
	}
	if l.bit+w > 64 {
		l.word, l.bit = l.word+1, 0
	}
	f := field{word: uint8(l.word), shift: uint8(l.bit), mask: 1<<w - 1}
	l.bit += w
	return f
}

// fits reports whether everything handed out lies inside a State.
func (l *layout) fits() bool { return l.word < words }

// Phase is how far a step is.
type Phase uint8

// Phases of a step. Owed is for recovery steps that must be done before going on.
const (
	Idle Phase = iota
	Doing
	Waiting // the movement or action is over, its wait runs
	Waited
	Done
	Owed
)

// Mode is what the procedure as a whole is doing.
type Mode uint8

// Modes. HeldKeepPower is held with key, supply and session kept as they are.
const (
	Running Mode = iota
	Held
	HeldKeepPower
	Stopping
	HandedOver
	Finished
)

// Motor is what was commanded last: moving, coming to rest, or quiet.
type Motor uint8

// Motor states. It is one for the whole vehicle: one command at a time.
const (
	Quiet Motor = iota
	Moving
	Resting
)

// Band is what is known about something watched.
type Band uint8

// Bands of a watch. Typed means: no feed, but a fresh typed reading within limits.
const (
	Blind Band = iota
	Good
	Typed
	Low
)

// Op is a kind of event.
type Op uint8

// Events. Person, instrument and clock all speak through these.
const (
	Start        Op = iota // the technician begins a step
	Ended                  // the movement or action of a step is over
	Rested                 // the wait of a step is over
	ConfirmMean            // one means of confirmation is given
	Complete               // a step of several outcomes ends with one of them
	Interrupt              // something interrupts everything
	StepFails              // one step is not as expected, or overdue
	BreakWait              // a wait is broken early
	AtRest                 // seen: nothing moves any more
	MotorRested            // the rest after a movement is over
	Resume                 // held: looked, made safe, going on
	Stop                   // stop, make safe, hand over
	HandOver               // the safe resting state is reached and the vehicle handed over
	PickUp                 // someone takes it up again
	Finish                 // all is done
	WatchBand              // what is watched changes its band
	TimerElapsed           // an "elapsed" condition becomes true
)

// Event is one thing that happens to a machine.
type Event struct {
	Op   Op
	Step uint16 // index of a step, watch or timer
	X    uint8  // means, outcome, kind of interruption, or band
	Band uint8  // band of the reading given with a means, +1; 0 = none
}
