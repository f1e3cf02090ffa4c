package web

import (
	"encoding/json"
	"errors"
	"fmt"
	"io"
	"net/http"
	"strings"
	"time"

	"proveout/job"
	"proveout/shop"
)

func init() {
	routes = append(routes,
		route{pattern: "POST /api/v1/jobs/{id}/procedures/{run}/events", serve: procedureEvent},
		route{pattern: "GET /api/v1/jobs/{id}/procedures/{run}", serve: procedureState},
		route{pattern: "POST /api/v1/jobs/{id}/procedures/{run}/supply/{watch}", serve: procedureSupply},
	)
}

// eventCommand is an event of a run as a page's outbox sends it: when it was made, by
// the page's own clock, and what that clock said when it was sent.
type eventCommand struct {
	Key     string        `json:"key" minLength:"1" maxLength:"200" doc:"the same key again gets the same receipt"`
	N       int64         `json:"n,omitempty" doc:"the device's own counter from 1; 0: order does not matter"`
	Type    string        `json:"type,omitempty"`
	Payload shop.RunEvent `json:"payload"`
	Clocks
	Settled int64 `json:"settled,omitempty"`
}

// eventReceipt answers an event.
type eventReceipt struct {
	shop.Receipt
	Card string `json:"card,omitempty" doc:"address of the hand-over card, to be shown now"`
}

// meterSamples are samples of a meter, in SI, oldest first.
type meterSamples struct {
	Values []float64 `json:"values" minItems:"1" maxItems:"1000"`
}

// procedureEvent takes one event of a run and answers when it is on disk.
func procedureEvent(s *Server, w http.ResponseWriter, r *http.Request) error {
	a, err := s.author(w, r)
	if err != nil {
		return err
	}
	var c eventCommand
	if err := readJSON(r, &c); err != nil {
		return err
	}
	if c.Key == "" || len(c.Key) > 200 {
		return fmt.Errorf("%w: a key of 1 to 200 bytes is needed, so that the same event twice counts once", shop.ErrBadCommand)
	}
	id, run := r.PathValue("id"), r.PathValue("run")
	c.Payload.To, c.Payload.Text = clip(c.Payload.To, 100), clip(c.Payload.Text, longest)
	if far, err := s.farSupply(r, id, run, &c.Payload); err != nil {
		return err
	} else if far != nil {
		return refusedByRun(&shop.RefusedEvent{Reasons: far})
	}
	payload, err := json.Marshal(c.Payload)
	if err != nil {
		return err
	}
	when := shop.When{Mono: c.Mono, SentMono: c.NowMono, Boot: c.Boot, SentBoot: c.NowBoot, Wall: c.Wall, SentWall: c.NowWall}
	if c.NowMono-c.Mono < int64(time.Second) && c.Boot == c.NowBoot {
		when = shop.When{} // it came at once: this machine's clock is the better one
	}
	receipt, err := s.bench.ProcedureEvent(r.Context(), id, run, c.Payload, when, shop.Command{
		Key: a.Device + "/" + c.Key, Device: a.Device, N: c.N, Settled: c.Settled, Author: a.Person, Type: job.ProcedureEventType, Payload: payload,
		Wall: s.now().Add(-min(c.age(), keptTime)), MonotonicNS: c.Mono, Boot: c.Boot, Attested: a.Attested,
	})
	if err != nil {
		return refusedByRun(err)
	}
	card := ""
	if c.Payload.Kind == shop.Interrupted {
		card = runPath(id, run) + "/card"
	}
	return writeJSON(w, eventReceipt{receipt, card})
}

// refusedByRun puts the reasons of a run that takes no event into a problem.
func refusedByRun(err error) error {
	var no *shop.RefusedEvent
	if !errors.As(err, &no) {
		return err
	}
	return &Problem{Status: http.StatusConflict, Kind: "not_taken", Detail: strings.Join(no.Reasons, " ")}
}

// procedureState is a run as it is now, for a screen that keeps itself true.
func procedureState(s *Server, w http.ResponseWriter, r *http.Request) error {
	screen, err := s.bench.Procedure(r.Context(), r.PathValue("id"), r.PathValue("run"), s.device(w, r))
	if err != nil {
		return err
	}
	return writeJSON(w, screen)
}

// procedureSupply takes samples of a meter: {"values": [13.4, 13.3]}, in SI, oldest
// first. The token is bound to job, run and what is watched; the screen shows it to
// whoever sets the meter up.
func procedureSupply(s *Server, w http.ResponseWriter, r *http.Request) error {
	id, run, watch := r.PathValue("id"), r.PathValue("run"), r.PathValue("watch")
	given, ok := strings.CutPrefix(r.Header.Get("Authorization"), "Bearer ")
	if !ok || !s.meterToken(given, id, run, watch) {
		return &Problem{Status: http.StatusUnauthorized, Kind: "meter_token"}
	}
	var in meterSamples
	if err := readJSON(r, &in); err != nil {
		return err
	}
	if len(in.Values) == 0 {
		return &Problem{Status: http.StatusBadRequest, Kind: "bad_form", Detail: "values is missing or empty"}
	}
	if len(in.Values) > 1000 {
		return &Problem{Status: http.StatusRequestEntityTooLarge, Kind: "too_big", Args: []any{1000}}
	}
	if err := s.bench.Supply(r.Context(), id, run, watch, in.Values); err != nil {
		return refusedByRun(err)
	}
	w.WriteHeader(http.StatusNoContent)
	return nil
}

// readJSON reads a body strictly: a misspelt field and a second value are told, not dropped.
func readJSON(r *http.Request, v any) error {
	d := json.NewDecoder(r.Body)
	d.DisallowUnknownFields()
	err := d.Decode(v)
	if err == nil && d.Decode(new(any)) != io.EOF {
		err = errors.New("more than one JSON value")
	}
	if err != nil {
		var tooBig *http.MaxBytesError
		if errors.As(err, &tooBig) {
			return err
		}
		return &Problem{Status: http.StatusBadRequest, Kind: "bad_form", Detail: err.Error(), Cause: err}
	}
	return nil
}

func writeJSON(w http.ResponseWriter, v any) error {
	w.Header().Set("Content-Type", "application/json")
	w.Header().Set("Cache-Control", "no-store")
	return json.NewEncoder(w).Encode(v)
}
