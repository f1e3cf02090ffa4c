package shop

import (
	"crypto/sha256"
	"fmt"
	"slices"
	"strings"

	"proveout/intake"
	"proveout/job"
	"proveout/proof"
	"proveout/trace"
)

// ReportAnswer is all that goes on the page for the customer and the reviewer:
// what was agreed, found, put right and proven, and what it rests on.
type ReportAnswer struct {
	Job        string           `json:"job"`
	Shop       string           `json:"shop"`
	Technician string           `json:"technician"`
	Opened     string           `json:"opened"`
	Practice   bool             `json:"practice"`
	Service    bool             `json:"service"` // a service with a set order, not a fault to find
	Customer   CustomerAnswer   `json:"customer"`
	Approvals  []ApprovalAnswer `json:"approvals"`
	Diagnosis  *Answer          `json:"diagnosis"`
	Proof      *ProofAnswer     `json:"proof"`
	// Judged: there was something to diagnose or to prove. Otherwise Diagnosis and Proof
	// hold only what was noted about the job.
	Judged bool `json:"judged"`
	// Minutes are those of the board; a job folder has none.
	Minutes *MinutesAnswer `json:"minutes,omitempty"`
	Runs    []RunAnswer    `json:"runs"`
	// Dangers are why the vehicle must not be left or driven as it stands now.
	Dangers []string `json:"dangers"`
	// PutDown is the card of work that was put down and not taken up; HandedOn of the
	// last hand-over between people.
	PutDown  string `json:"put_down,omitempty"`
	HandedOn string `json:"handed_on,omitempty"`
	// Fitted are parts that no correction names.
	Fitted []FittedAnswer `json:"fitted"`
	// ClosedAt is when the job was first closed, Changed what was done to it after that.
	ClosedAt string         `json:"closed_at,omitempty"`
	Changed  []ChangeAnswer `json:"changed_after_closing"`
	// Courses are the proof drives as curves, decimated.
	Courses []CourseAnswer `json:"courses"`
	// Fingerprint is the SHA-256 of what FingerprintOf names. For a job folder that
	// is the list "hash, two blanks, path" of the job file and every capture, in
	// order of the path: what sha256sum prints, hashed once more.
	Fingerprint   string        `json:"fingerprint"`
	FingerprintOf string        `json:"fingerprint_of"`
	Inputs        []InputAnswer `json:"inputs"`
	// ShopKey is the short form of the key that the record is signed with; a job
	// folder has none.
	ShopKey string `json:"shop_key,omitempty"`
}

// CustomerAnswer is personal data.
type CustomerAnswer struct {
	Name  string `json:"name"`
	Phone string `json:"phone"`
}

// ApprovalAnswer is work agreed.
type ApprovalAnswer struct {
	What string `json:"what"`
	At   string `json:"at"`
	How  string `json:"how"`
	Who  string `json:"who"`
}

// MinutesAnswer is time agreed at reception, approved since, worked and left.
type MinutesAnswer struct {
	Agreed   float64 `json:"agreed"`
	Approved float64 `json:"approved"`
	Worked   float64 `json:"worked"`
	Left     float64 `json:"left"` // below zero: over
}

// FittedAnswer is a part that was fitted.
type FittedAnswer struct {
	PartAnswer
	Where string `json:"where,omitempty"`
	Who   string `json:"who"`
	At    string `json:"at"`
}

// ChangeAnswer is one thing that changed a job after it was closed.
type ChangeAnswer struct {
	// What: reopened, taken_back, closed, entered.
	What   string `json:"what"`
	Entry  string `json:"entry,omitempty"` // type of what was taken back or entered
	At     string `json:"at"`
	Who    string `json:"who"`
	Reason string `json:"reason,omitempty"`
}

// InputAnswer is a file the report rests on.
type InputAnswer struct {
	File   string `json:"file"`
	SHA256 string `json:"sha256"`
}

// CourseAnswer is one proof drive as a curve: calculated load over time, least and
// greatest value of each stretch, with the stretches inside the fault conditions.
type CourseAnswer struct {
	Item     int          `json:"item"`
	File     string       `json:"file"`
	As       string       `json:"as"` // before, found, after
	T        []float64    `json:"t_s"`
	LoadLow  []float64    `json:"load_low_pct"`
	LoadHigh []float64    `json:"load_high_pct"`
	Inside   [][2]float64 `json:"inside_s"`
	Episodes []float64    `json:"episodes_s"`
	Seconds  float64      `json:"seconds"`
}

// coursePoints is how many points a course is drawn with (our choice: a column of
// a page is some 1000 dots wide).
const coursePoints = 800

// Report gathers the report of the job in a folder. Nothing in the folder is
// changed.
func Report(dir string, o Options) (*ReportAnswer, error) {
	folder, err := intake.OpenFolder(dir)
	if err != nil {
		return nil, err
	}
	defer folder.Close()
	name, data, err := jobText(folder)
	if err != nil {
		return nil, err
	}
	f, problems := job.Parse(name, data)
	if f == nil {
		return nil, problemError(problems)
	}
	p, err := prove(inFolder{folder}, f, o, nil)
	if err != nil {
		return nil, err
	}
	r := p.report()
	r.fingerprint(name, data)
	return r, nil
}

// report gathers what a proof does not hold.
func (p *proving) report() *ReportAnswer {
	f := p.file
	r := &ReportAnswer{
		Job: f.Job, Shop: f.Shop, Technician: f.Technician, Opened: f.Opened, Practice: f.Practice, Approvals: []ApprovalAnswer{},
		Diagnosis: p.diagnosis, Proof: p.out, Judged: true, Courses: []CourseAnswer{}, Inputs: []InputAnswer{},
		Runs: []RunAnswer{}, Dangers: []string{}, Fitted: []FittedAnswer{}, Changed: []ChangeAnswer{},
	}
	if c := f.Customer; c != nil {
		r.Customer = CustomerAnswer{strings.TrimSpace(c.Name), strings.TrimSpace(c.Phone)}
	}
	for _, a := range f.Approvals {
		r.Approvals = append(r.Approvals, ApprovalAnswer{a.What, a.At, a.How, a.Who})
	}
	p.courses(r)
	return r
}

// courses draws the drives that were counted.
func (p *proving) courses(r *ReportAnswer) {
	add := func(log proof.Log, t proof.Tally, as string) {
		if !t.Used {
			return
		}
		c := CourseAnswer{Item: p.items[log.Name], File: log.Name, As: as, T: []float64{}, LoadLow: []float64{}, LoadHigh: []float64{}, Inside: [][2]float64{}, Episodes: []float64{}}
		for _, b := range trace.NewPyramid(log.Load.V).View(0, len(log.Load.V), coursePoints) {
			if b.Min == b.Min { // not NaN
				c.T = append(c.T, round(log.Load.T[b.First]))
				c.LoadLow, c.LoadHigh = append(c.LoadLow, round(b.Min)), append(c.LoadHigh, round(b.Max))
			}
		}
		if n := len(log.Load.T); n > 0 {
			c.Seconds = round(log.Load.T[n-1])
		}
		for _, s := range t.Climbs {
			c.Inside = append(c.Inside, [2]float64{round(s.From), round(s.To)})
		}
		for _, e := range t.Episodes {
			c.Episodes = append(c.Episodes, round(e.At))
		}
		r.Courses = append(r.Courses, c)
	}
	for i, t := range p.v.Before.Drives {
		add(p.c.Before[i].Log, t, string(t.Role))
	}
	for i, t := range p.v.After.Drives {
		add(p.c.After[i], t, "after")
	}
}

// fingerprint hashes what the report rests on.
func (r *ReportAnswer) fingerprint(name string, data []byte) {
	r.Inputs = append(r.Inputs, InputAnswer{name, fmt.Sprintf("%x", sha256.Sum256(data))})
	for _, it := range r.Diagnosis.Items {
		if it.Kind == "capture" && it.SHA256 != "" && !slices.ContainsFunc(r.Inputs, func(x InputAnswer) bool { return x.File == it.File }) {
			r.Inputs = append(r.Inputs, InputAnswer{it.File, it.SHA256})
		}
	}
	slices.SortFunc(r.Inputs, func(a, b InputAnswer) int { return strings.Compare(a.File, b.File) })
	var list strings.Builder
	for _, x := range r.Inputs {
		fmt.Fprintf(&list, "%s  %s\n", x.SHA256, x.File)
	}
	r.Fingerprint = fmt.Sprintf("%x", sha256.Sum256([]byte(list.String())))
	r.FingerprintOf = fmt.Sprintf("%d files: the job file and its captures", len(r.Inputs))
}

// jobText finds and reads the job file of a folder.
func jobText(folder *intake.Folder) (name string, data []byte, err error) {
	var names []string
	for _, n := range job.Names {
		if folder.Has(n) {
			names = append(names, n)
		}
	}
	if name, err = job.Pick(names); err != nil {
		return "", nil, err
	}
	data, err = folder.Bytes(name, job.MaxBytes)
	return name, data, err
}
