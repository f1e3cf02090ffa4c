package shop

import (
	"encoding/json"
	"fmt"
	"slices"
	"strings"

	"proveout/job"
	"proveout/procedure/runner"
)

// afterClosing are the entries a closed job still takes: what reopens it, what is said
// about it, and what happened to the vehicle. A stop or a danger is never refused.
var afterClosing = map[string]bool{
	job.ReopenedType: true, job.ConclusionType: true, job.NoteType: true, job.TimePunchType: true, job.DangerousType: true, job.MadeSafeType: true,
	job.ProcedureEventType: true, job.ProcedureEndedType: true, job.InterruptedType: true, job.ResumedType: true, job.HandOverType: true,
}

// mayWrite holds an undo to what is there, a closing to a vehicle that may be left and a
// reason, a procedure to the only one that is under way, and a closed job to being
// reopened first.
func (k *openCase) mayWrite(c Command) error {
	if k.state.Closed != nil && !afterClosing[c.Type] {
		return fmt.Errorf("%w: the job is closed; reopen it first", ErrBadCommand)
	}
	switch c.Type {
	case job.UndoType:
		return k.mayUndo(c)
	case job.ClosedType:
		return k.mayClose(c)
	case job.ProcedureStartedType:
		return k.onlyRun("")
	case job.TimePunchType:
		var t job.TimePunch
		if err := json.Unmarshal(c.Payload, &t); err == nil && t.What == "in" && k.state.Closed != nil {
			return fmt.Errorf("%w: the job is closed; reopen it first", ErrBadCommand)
		}
	}
	return nil
}

// mayClose: nobody closes a vehicle away that must not be left, and a result says what
// it rests on.
func (k *openCase) mayClose(c Command) error {
	var p job.Closed
	if err := json.Unmarshal(c.Payload, &p); err != nil {
		return fmt.Errorf("%w: %w", ErrBadCommand, err)
	}
	if d := k.state.Dangerous; d != nil {
		return fmt.Errorf("%w: the vehicle must not be left as it stands (%s). Make it safe and say what made it safe, then close", ErrBadCommand, strings.TrimRight(d.What.Text, "."))
	}
	if err := k.onlyRun(""); err != nil {
		return err
	}
	switch {
	case strings.TrimSpace(p.Because) == "" && p.Result != "proven":
		return fmt.Errorf("%w: say why it is closed without proof", ErrBadCommand)
	case p.Result == "improved" && !k.state.PutRight() && !slices.ContainsFunc(k.state.Runs, func(r job.Run) bool { return r.End == "finished" }):
		return fmt.Errorf("%w: nothing was put right or fitted, so nothing is improved; write the correction, or close it as not proven", ErrBadCommand)
	}
	return nil
}

// onlyRun refuses while a procedure other than the named one stands where the vehicle
// may not be left: two that know nothing of each other hurt somebody.
func (k *openCase) onlyRun(but string) error {
	for _, r := range k.state.Runs {
		if r.End != "" || r.ID == but {
			continue
		}
		l, err := k.b.held(k, r.ID)
		if err != nil {
			return fmt.Errorf("%w: the procedure %s is under way and cannot be read: %w", ErrBadCommand, r.Procedure, err)
		}
		if s := screenOf(l.run, k.b.stamp()); !s.MayLeave || len(s.Dangers) > 0 {
			why := append(slices.Clone(s.Dangers), s.WhyNot...)
			return fmt.Errorf("%w: “%s” is under way and the vehicle may not be left in it (%s). Bring it to rest first", ErrBadCommand, s.Title, strings.Join(why[:min(2, len(why))], " "))
		}
	}
	return nil
}

// mayBegin: nothing new begins in a closed job or beside another procedure under way.
// What a device kept while it was alone has happened and is taken.
func (k *openCase) mayBegin(run string, ev RunEvent, when When) error {
	kept := when.SentMono-when.Mono > int64(keptAfter)
	switch ev.Kind {
	case runner.Begin, Look, LookFails, runner.GoOn, runner.TakeUp:
	default:
		return nil
	}
	if kept {
		return nil
	}
	if k.state.Closed != nil {
		return fmt.Errorf("%w: the job is closed; reopen it first", ErrBadCommand)
	}
	return k.onlyRun(run)
}
