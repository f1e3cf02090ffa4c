package cli

import (
	"bufio"
	"context"
	"encoding/json"
	"errors"
	"fmt"
	"io"
	"os"
	"path/filepath"
	"strings"
	"time"

	"github.com/spf13/cobra"

	"proveout/procedure"
	"proveout/procedure/checker"
	"proveout/procedure/runner"
	"proveout/procedure/watch"
	"proveout/unit"
)

func newProcedureRun() *cobra.Command {
	var o runOptions
	c := &cobra.Command{
		Use: "run PROCEDURE JOBDIR", Short: "Work through a procedure in the terminal",
		Long: `Shows what is safe next in large text, takes what you confirm, and writes every
entry to the job folder's record before it counts. Killed or left, it goes on where
it stood: start it again with the same command.

What is watched comes as CSV or JSON lines, and has a way of its own beside the
answers: a file another program is still writing or a named pipe (--feed), standard
input (--feed -; the answers are then typed on the terminal or come from --answers),
or posts to this machine (--listen). Without a feed a typed reading may open the start
of a step; the step is then recorded as not watched.`,
		Example: "  proveout procedure run epb_caliper_pads JOBDIR --who Ruben --feed supply=meter.csv\n  logger | proveout procedure run epb_caliper_pads JOBDIR --who Ruben --feed -",
		Args:    cobra.ExactArgs(2),
		RunE: func(c *cobra.Command, args []string) error {
			m, sum, err := loadProcedure(args[0])
			if err != nil {
				return err
			}
			if _, err := fmt.Fprintln(c.OutOrStdout(), "Checking every state this procedure can reach before it begins."); err != nil {
				return err
			}
			if r := checker.Check(m, checker.Options{}); !r.Passed {
				writeCheck(&page{w: c.ErrOrStderr()}, r)
				return refusal{"this procedure did not pass its check: it cannot be started"}
			}
			o.clock = runClock()
			o.large = o.large && isTerminal(c.OutOrStdout())
			return runProcedure(c.Context(), m, sum, args[1], o, c.InOrStdin(), c.OutOrStdout())
		},
	}
	c.Flags().StringVar(&o.who, "who", "", "who is doing the work")
	c.Flags().StringVar(&o.device, "device", "", "name of this device (default: its host name)")
	c.Flags().StringArrayVar(&o.feeds, "feed", nil, "where samples come from: WATCH=FILE, a named pipe, or - for standard input; without WATCH= the first watch")
	c.Flags().StringVar(&o.answers, "answers", "", "take the answers from this file when samples come on standard input")
	c.Flags().StringVar(&o.listen, "listen", "", "take posted samples on this address of this machine, for example 127.0.0.1:0")
	c.Flags().StringVar(&o.instrument, "instrument", "meter", "name of the device that posts samples; its token is bound to it")
	c.Flags().BoolVar(&o.fresh, "new", false, "begin a new record instead of going on with the last one")
	c.Flags().BoolVar(&o.large, "large", true, "large text where the terminal can show it")
	c.Flags().BoolVar(&o.practice, "practice", false, "mark the record as practice")
	return c
}

type runOptions struct {
	who, device, answers, listen, instrument string
	feeds                                    []string
	fresh, large, practice                   bool
	clock                                    func() runner.Stamp
}

func isTerminal(w io.Writer) bool {
	f, ok := w.(*os.File)
	if !ok {
		return false
	}
	st, err := f.Stat()
	return err == nil && st.Mode()&os.ModeCharDevice != 0
}

// terminal is one run in one terminal.
type terminal struct {
	m        *procedure.Machine
	s        *runner.Session
	o        runOptions
	out      *page
	lines    chan string
	rows     chan row
	monitors []*watch.Monitor
	levels   []watch.Level
	watching map[string]bool // steps whose summary is open
	captures []*feedCapture  // what the feed of each watch sent; nil without a feed
	asking   *asking         // figures are being asked for
	waited   bool            // a wait was running when the screen was last drawn
}

func runProcedure(ctx context.Context, m *procedure.Machine, sum, job string, o runOptions, in io.Reader, out io.Writer) error {
	if ctx == nil {
		ctx = context.Background()
	}
	ctx, cancel := context.WithCancel(ctx)
	defer cancel()
	if o.device == "" {
		o.device, _ = os.Hostname()
	}
	if o.who == "" {
		return errors.New("say who does the work: --who NAME")
	}
	file, data, name, torn, err := openRecord(job, m.File.ID, o.fresh)
	if err != nil {
		return err
	}
	defer file.f.Close()
	s, err := runner.Open(m, runner.Header{Format: runner.RecordFormat, Procedure: m.File.ID, Version: m.File.Version, SHA256: sum, Job: filepath.Base(filepath.Clean(job)), Practice: o.practice}, data, file)
	if err != nil {
		return fmt.Errorf("%s: %w", name, err)
	}
	t := &terminal{m: m, s: s, o: o, out: &page{w: out}, lines: make(chan string), rows: make(chan row, 1024), watching: map[string]bool{}}
	for i := range m.Watches {
		lim, err := m.Watches[i].Limits()
		if err != nil {
			return err
		}
		t.monitors = append(t.monitors, watch.New(lim))
		t.levels = append(t.levels, watch.NotWatched)
	}
	if in, err = t.openFeeds(ctx, job, name, in); err != nil {
		return err
	}
	t.out.para("", fmt.Sprintf("%s. Record: %s.", m.File.Title, name), 0)
	t.out.para("", procedure.Overrides, 0)
	if torn > 0 {
		t.out.para("", fmt.Sprintf("The last line of the record was cut off while it was written (%d bytes, kept beside it). It had not been acknowledged.", torn), 0)
	}
	if o.fresh {
		rows, err := boardOf(job)
		if err != nil {
			return err
		}
		for _, r := range rows {
			if r.Dangerous() && r.Record != name {
				t.out.para("", "Still open from an earlier run ("+r.Record+"):", 0)
				for _, d := range r.Dangers {
					t.out.para("  - ", d, 4)
				}
			}
		}
	}
	if len(data) > 0 {
		if err := t.resume(); err != nil {
			return err
		}
	}
	go readLines(ctx, in, t.lines)
	return errors.Join(t.loop(ctx), t.seal())
}

// openFeeds starts what the watches listen to, and gives where the answers come from.
func (t *terminal) openFeeds(ctx context.Context, job, record string, in io.Reader) (io.Reader, error) {
	sources, err := feedSources(t.m, t.o.feeds)
	if err != nil {
		return nil, err
	}
	t.captures = make([]*feedCapture, len(t.m.Watches))
	answers := in
	for _, s := range sources {
		if s.path == "-" {
			if answers, err = answersFrom(t.o.answers); err != nil {
				return nil, err
			}
			go readFeed(ctx, in, s.watch, t.rows)
		} else if err := tailFile(ctx, s.path, s.watch, t.rows); err != nil {
			return nil, err
		}
		if t.captures[s.watch], err = openCapture(job, record, t.m.Watches[s.watch].ID); err != nil {
			return nil, err
		}
	}
	if t.o.listen == "" {
		return answers, nil
	}
	p, err := newPoster(ctx, t.m, filepath.Base(filepath.Clean(job)), t.rows)
	if err != nil {
		return nil, err
	}
	addr, err := listenSamples(ctx, t.o.listen, p)
	if err != nil {
		return nil, err
	}
	for w := range t.m.Watches {
		mw := &t.m.Watches[w]
		if t.captures[w] == nil {
			if t.captures[w], err = openCapture(job, record, mw.ID); err != nil {
				return nil, err
			}
		}
		t.out.para("", fmt.Sprintf("Post samples of the %s at the %s from %q to http://%s%s with the header \"Authorization: Bearer %s\".", mw.Quantity, mw.Point, t.o.instrument, addr, p.address(t.o.instrument, w), p.token(p.job, t.o.instrument, mw.ID, mw.Point)), 0)
	}
	return answers, nil
}

// seal ends the capture of each feed with an entry that carries its fingerprint.
func (t *terminal) seal() error {
	for w, c := range t.captures {
		if c == nil {
			continue
		}
		text, err := c.seal()
		if err != nil {
			return err
		}
		if err := t.put(runner.Entry{Kind: runner.Note, Watch: t.m.Watches[w].ID, Text: text}); err != nil {
			return err
		}
	}
	return nil
}

func readLines(ctx context.Context, in io.Reader, out chan<- string) {
	defer close(out)
	sc := bufio.NewScanner(in)
	sc.Buffer(make([]byte, 4096), 64<<10)
	for sc.Scan() {
		select {
		case out <- sc.Text():
		case <-ctx.Done():
			return
		}
	}
}

func (t *terminal) put(e runner.Entry) error {
	e.At, e.Device, e.Who = t.o.clock(), t.o.device, t.o.who
	return t.s.Put(e)
}

// resume: the program was closed or killed. Feeds are not running; a run that was
// under way was interrupted by a dead device.
func (t *terminal) resume() error {
	if err := t.put(runner.Entry{Kind: runner.Opened}); err != nil {
		return err
	}
	mode := t.m.ModeOf(t.s.Run.State())
	if mode == procedure.Running || mode == procedure.Held || mode == procedure.HeldKeepPower {
		t.out.para("", "This run was under way when the program ended. Look at the vehicle before going on.", 0)
		return t.put(runner.Entry{Kind: runner.Happens, What: "device_dies"})
	}
	return nil
}

// loop shows what is next and takes what happens, until the run or the input ends.
func (t *terminal) loop(ctx context.Context) error {
	tick := time.NewTicker(200 * time.Millisecond)
	defer tick.Stop()
	show := true
	for {
		if t.s.Run.Ended() {
			t.out.line("")
			t.out.large("FINISHED", t.o.large)
			for _, a := range t.m.File.After {
				t.out.para("  ", a, 2)
			}
			return t.out.err
		}
		var choices []choice
		if show {
			choices = t.show()
			show = false
			t.waited = t.waits()
		} else {
			choices = choicesOf(t.m, t.s.Run.At(t.o.clock()))
		}
		if t.out.err != nil {
			return t.out.err
		}
		select {
		case line, ok := <-t.lines:
			if !ok {
				return t.leave()
			}
			if strings.TrimSpace(line) == "q" {
				return t.leave()
			}
			if err := t.hear(choices, strings.TrimSpace(line)); err != nil {
				var r *runner.Refusal
				if !errors.As(err, &r) {
					return err
				}
				t.out.line("")
				t.out.large("NOT YET", t.o.large)
				for _, why := range r.Reasons {
					t.out.para("  ", why, 2)
				}
			}
			// A movement may begin and end between two ticks: its summary begins now.
			if _, err := t.judge(time.Now().UnixNano()); err != nil {
				return err
			}
			show = true
		case r := <-t.rows:
			changed, err := t.sample(r)
			if err != nil {
				return err
			}
			show = show || changed
		case <-tick.C:
			changed, err := t.timePasses()
			if err != nil {
				return err
			}
			show = show || changed
		case <-ctx.Done():
			return t.leave()
		}
	}
}

// leave: the program ends, the run does not. It says what is dangerous.
func (t *terminal) leave() error {
	v := t.s.Run.At(t.o.clock())
	t.out.line("")
	if v.Mode == "handed_over" {
		t.out.para("", "Handed over to "+v.Holder+". The run goes on when someone takes it up.", 0)
		for _, d := range v.Dangers {
			t.out.para("  STAYS ON THE BOARD: ", d, 4)
		}
		return t.out.err
	}
	t.out.para("", "The program ends; the run is kept and goes on with the same command.", 0)
	for _, d := range v.Dangers {
		t.out.para("  DANGEROUS TO LEAVE: ", d, 2)
	}
	if !v.MayLeave {
		t.out.para("", "This vehicle may not be left as it is. To leave it: stop (s), make safe, hand over.", 0)
	}
	return t.out.err
}

// sample takes one row of a feed, in the unit of its watch.
func (t *terminal) sample(r row) (bool, error) {
	if c := t.captures[r.watch]; c != nil {
		if err := c.add(r); err != nil {
			return false, fmt.Errorf("keep the feed: %w", err)
		}
	}
	m := t.monitors[r.watch]
	m.Add(watch.Sample{At: r.at, Value: m.Limits().Unit.SI(r.v)})
	return t.judge(r.at)
}

// judge tells the run when the level of a watch has changed, and keeps a summary of
// each watched step.
func (t *terminal) judge(now int64) (bool, error) {
	changed := false
	for i, m := range t.monitors {
		l := m.Level(now)
		if l == t.levels[i] {
			continue
		}
		e := runner.Entry{Kind: runner.WatchNow, Watch: t.m.Watches[i].ID, Level: l.String()}
		if s, ok := m.Last(); ok && l != watch.NotWatched {
			v := s.Value
			e.Value = &v
		}
		if err := t.put(e); err != nil {
			return changed, err
		}
		t.levels[i], changed = l, true
	}
	under := t.s.Run.Watched()
	for step, ws := range under {
		if !t.watching[step] {
			t.watching[step] = true
			for _, w := range ws {
				t.monitors[w].Begin(now)
			}
		}
	}
	for step := range t.watching {
		if _, still := under[step]; still {
			continue
		}
		delete(t.watching, step)
		i, _ := t.m.StepIndex(step)
		for _, w := range t.m.Steps[i].WatchedBy() {
			data, err := json.Marshal(t.monitors[w].End(now))
			if err != nil {
				return changed, err
			}
			if err := t.put(runner.Entry{Kind: runner.Summary, Step: step, Watch: t.m.Watches[w].ID, Data: data}); err != nil {
				return changed, err
			}
		}
	}
	return changed, nil
}

// timePasses looks at the clock: stale feeds, waits that are over, movements that
// take too long.
func (t *terminal) timePasses() (bool, error) {
	changed, err := t.judge(time.Now().UnixNano())
	if err != nil {
		return changed, err
	}
	for _, step := range t.s.Run.Overdue(t.o.clock()) {
		if err := t.put(runner.Entry{Kind: runner.Fails, Step: step, What: "overdue"}); err != nil {
			return changed, err
		}
		changed = true
	}
	if waits := t.waits(); t.waited && !waits {
		t.out.line("\a") // once: a wait is over
		changed = true
	}
	return changed, nil
}

// waits reports whether a wait or a rest is running.
func (t *terminal) waits() bool {
	v := t.s.Run.At(t.o.clock())
	for _, s := range v.Steps {
		if s.Left > 0 {
			return true
		}
	}
	return v.MotorLeft > 0
}

// typedNumber reads a typed value in a unit; the unit may be left out.
func typedNumber(text string, u unit.Unit) (float64, error) {
	q, err := unit.ParseQuantity(text)
	if err != nil {
		return 0, err
	}
	if q.Unit.Symbol == "1" && u.Dim != unit.None {
		return u.SI(q.Typed), nil
	}
	if q.Unit.Dim != u.Dim {
		return 0, fmt.Errorf("%q is a %s; give it in %s", text, q.Unit.Dim, u.Symbol)
	}
	return q.SI, nil
}
