package job

import (
	"fmt"
	"testing"
)

// Two people set the same thing without seeing each other: both entries stay, and
// both are named until one is taken back.
func TestConflicts(t *testing.T) {
	reading := func(value string) ReadingTyped {
		return ReadingTyped{Item: 9, Form: Form(`{"feature":"plug.gap","cylinder":3,"value":"` + value + `"}`)}
	}
	seen := func(id string) func(*Entry) { return func(e *Entry) { e.Seen = id } }
	for _, c := range []struct {
		name string
		tell func(p *tape)
		want string
	}{
		{"seen each other's", func(p *tape) {
			a := p.say("d1", "ines", ReadingTypedType, reading("1.0 mm"), seen("e1"))
			p.say("d2", "tom", ReadingTypedType, reading("1.1 mm"), seen(a))
		}, "[]"},
		{"not seen", func(p *tape) {
			p.say("d1", "ines", ReadingTypedType, reading("1.0 mm"), seen("e1"))
			p.say("d2", "tom", ReadingTypedType, reading("1.1 mm"), seen("e1"))
		}, "[{reading plug.gap cylinder 3 [e2 e3]}]"},
		{"not seen, and one is about the other", func(p *tape) {
			a := p.say("d1", "ines", ReadingTypedType, reading("1.0 mm"), seen("e1"))
			p.say("d2", "tom", ReadingTypedType, reading("1.1 mm"), seen("e1"), func(e *Entry) { e.Parents = []string{a} })
		}, "[]"},
		{"one taken back", func(p *tape) {
			p.say("d1", "ines", ReadingTypedType, reading("1.0 mm"), seen("e1"))
			p.say("d2", "tom", UndoType, Undo{Entry: p.say("d2", "tom", ReadingTypedType, reading("1.1 mm"), seen("e1"))})
		}, "[]"},
		{"the same person twice on one device", func(p *tape) {
			p.say("d1", "ines", ReadingTypedType, reading("1.0 mm"), seen("e1"))
			p.say("d1", "ines", ReadingTypedType, reading("1.1 mm"), seen("e1"))
		}, "[]"},
		{"one step confirmed twice", func(p *tape) {
			p.say("d1", "ines", ProcedureEventType, ProcedureEvent{Run: "r", Step: "open", Line: "1"}, seen("e1"))
			p.say("d2", "tom", ProcedureEventType, ProcedureEvent{Run: "r", Step: "open", Line: "2"}, seen("e1"))
			p.say("d2", "tom", ProcedureEventType, ProcedureEvent{Run: "r", Step: "close", Line: "3"}, seen("e1"))
		}, "[{step open of run r [e2 e3]}]"},
		{"notes only add", func(p *tape) {
			p.say("d1", "ines", NoteType, Note{Text: "a"}, seen("e1"))
			p.say("d2", "tom", NoteType, Note{Text: "b"}, seen("e1"))
		}, "[]"},
		{"not known what was on the screen", func(p *tape) {
			p.say("d1", "ines", ReadingTypedType, reading("1.0 mm"))
			p.say("d2", "tom", ReadingTypedType, reading("1.1 mm"))
		}, "[]"},
	} {
		p := newTape(t)
		p.received()
		c.tell(p)
		if got := fmt.Sprint(Conflicts(p.lines)); got != c.want {
			t.Errorf("%s: %s, want %s", c.name, got, c.want)
		}
	}
}
