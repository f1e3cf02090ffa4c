package web

import (
	"bytes"
	"encoding/json"
	"io"
	"net/http"
	"strings"

	"proveout/evidence"
	"proveout/job"
	"proveout/shop"
	"proveout/vehicle"
)

// A figure far from what it can be is asked about, not refused: the person at the car may
// have read it.

// mostOdometer is the longest way an odometer is taken to show, in metres (our choice).
const mostOdometer = 3e9

// askTwice asks about a reading as a job file has it.
func (s *Server) askTwice(form map[string]any) error {
	body, err := json.Marshal(form)
	if err != nil {
		return err
	}
	return s.doubted(body)
}

// askedTwice is askTwice for a command of the API.
func (s *Server) askedTwice(c commandBody) error {
	var p job.ReadingTyped
	if c.Sure || c.Type != job.ReadingTypedType || json.Unmarshal(c.Payload, &p) != nil {
		return nil // what cannot be read is refused where it is checked
	}
	return s.doubted(p.Form)
}

func (s *Server) doubted(form job.Form) error {
	doubts, err := job.Doubts(form, s.featureRead(form))
	if err != nil {
		return &Problem{Status: http.StatusUnprocessableEntity, Kind: "bad_command", Detail: err.Error(), Cause: err}
	}
	var questions []string
	for _, d := range doubts {
		questions = append(questions, d.Question())
	}
	if len(questions) == 0 {
		return nil
	}
	return &Problem{Status: http.StatusUnprocessableEntity, Kind: "far_off", Sure: true, Detail: strings.Join(questions, " ")}
}

// featureRead is what a typed reading reads; the zero feature where no book says.
func (s *Server) featureRead(form job.Form) evidence.Feature {
	var r struct{ Test, Feature string }
	_ = json.Unmarshal(form, &r) // what cannot be read is refused where it is checked
	for _, b := range s.bench.Books() {
		for i := range b.Tests {
			if t := &b.Tests[i]; t.ID == r.Test && t.Reads != nil {
				r.Feature = t.Reads.Feature
			}
		}
	}
	f, _ := evidence.Lookup(r.Feature)
	return f
}

// askVehicle asks about what was typed of the vehicle: an odometer that is none, a VIN
// that can be none, a number that another job has. before is the odometer as it stands, title the number
// of a job to be opened.
func (s *Server) askVehicle(r *http.Request, before, title string) error {
	f, p := r.PostForm, s.printer(r)
	if f.Get("sure") == "yes" {
		return nil
	}
	var odd []string
	if typed := words(f, "odometer"); typed != "" && typed != before {
		metres, err := job.Odometer(typed)
		switch {
		case err != nil:
			odd = append(odd, p.T("doubt.odometer", typed))
		case !(metres <= mostOdometer):
			odd = append(odd, p.T("doubt.odometer_far", typed))
		}
	}
	if vin := words(f, "vin"); vin != "" {
		if _, err := vehicle.ParseVIN(vin); err != nil {
			odd = append(odd, p.T("doubt.vin", vin))
		}
	}
	if taken, err := s.taken(r, title); err != nil {
		return err
	} else if taken {
		odd = append(odd, p.T("doubt.title", title))
	}
	if len(odd) == 0 {
		return nil
	}
	return &Problem{Status: http.StatusUnprocessableEntity, Kind: "odd_vehicle", Sure: true, Detail: strings.Join(odd, " ")}
}

// taken reports whether one of the newest jobs has the number already.
func (s *Server) taken(r *http.Request, title string) (bool, error) {
	if title == "" {
		return false, nil
	}
	v, err := s.bench.All(r.Context(), 0, 200)
	if err != nil {
		return false, err
	}
	for _, row := range v.Rows {
		if row.Title == title {
			return true, nil
		}
	}
	return false, nil
}

// oneOfEach refuses a body of JSON in which a field stands twice.
func oneOfEach(r *http.Request) error {
	if !strings.HasPrefix(r.Header.Get("Content-Type"), "application/json") {
		return nil
	}
	body, err := io.ReadAll(r.Body)
	if err != nil {
		return err
	}
	r.Body = io.NopCloser(bytes.NewReader(body))
	if json.Valid(body) { // what is no JSON is refused where it is read
		if err := job.OneOfEach(body); err != nil {
			return &Problem{Status: http.StatusBadRequest, Kind: "bad_request", Detail: err.Error(), Cause: err}
		}
	}
	return nil
}

// farSupply says why a typed supply voltage is not taken; empty: it can be. A gate or a
// hold never rests on a figure that no vehicle has.
func (s *Server) farSupply(r *http.Request, id, run string, ev *shop.RunEvent) ([]string, error) {
	if ev.Typed == "" || ev.Watch == "" {
		return nil, nil
	}
	screen, err := s.bench.Procedure(r.Context(), id, run, s.deviceOf(r))
	if err != nil {
		return nil, err
	}
	for i := range screen.Supply {
		if w := &screen.Supply[i]; w.ID == ev.Watch {
			if d, far := job.DoubtSupply(ev.Typed, w.Quantity, w.Unit); far {
				return []string{d.Question()}, nil
			}
		}
	}
	return nil, nil
}
