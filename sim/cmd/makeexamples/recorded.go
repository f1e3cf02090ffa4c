package main

import (
	"bytes"
	"encoding/csv"
	"fmt"
	"os"
	"path/filepath"
	"strings"
)

// recorded makes the examples on real recordings from the shared data. Only data
// whose licence lets it travel is used, and it stays in a folder of its own with
// licence and attribution.
func recorded(shared string) (map[string]folder, error) {
	answers, err := realAnswers(shared)
	if err != nil {
		return nil, err
	}
	crank, err := realCrank(shared)
	if err != nil {
		return nil, err
	}
	return map[string]folder{"04-real-answers": answers, "05-real-cranking": crank}, nil
}

const (
	answersRepo = "OBDb/Ford-F-150" // attribution only: the licence asks for it
	answersYear = "2014"
)

// realAnswers turns rows of recorded answers into a log of plain hex lines:
// request, then what each module said.
func realAnswers(shared string) (folder, error) {
	raw, err := os.ReadFile(filepath.Join(shared, "data", "obd-vectors", "vehicle_responses.csv"))
	if err != nil {
		return nil, err
	}
	rows, err := csv.NewReader(bytes.NewReader(raw)).ReadAll()
	if err != nil {
		return nil, err
	}
	var b strings.Builder
	seen := map[string]bool{}
	commit, kept := "", 0
	for _, r := range rows[1:] {
		// request_hex,response,signal,expected,source_repo,commit,path
		if r[4] != answersRepo || strings.Split(r[6], "/")[2] != answersYear || seen[r[0]+r[1]] {
			continue
		}
		seen[r[0]+r[1]] = true
		commit = r[5]
		fmt.Fprintf(&b, "7DF 02 %s\n", spaced(r[0]))
		for _, frame := range strings.Split(r[1], "|") {
			if len(frame) < 5 {
				return nil, fmt.Errorf("answer %q is too short", frame)
			}
			fmt.Fprintf(&b, "%s %s\n", frame[:3], spaced(frame[3:]))
		}
		kept++
	}
	if kept == 0 {
		return nil, fmt.Errorf("no rows of %s %s", answersRepo, answersYear)
	}
	return folder{
		"captures/answers.txt": []byte(b.String()),
		"job.yaml":             []byte(answersJob),
		"README.md":            []byte(answersReadme),
		"captures/PROVENANCE.md": []byte(fmt.Sprintf(`# Where answers.txt comes from

- Source: the open vehicle signal data set OBDb, repository %s on GitHub, commit
  %s, files tests/test_cases/%s/commands/*.yaml, service 01.
- Licence: Creative Commons Attribution-ShareAlike 4.0 International (CC BY-SA 4.0),
  https://creativecommons.org/licenses/by-sa/4.0/. Attribution: the OBDb contributors.
  answers.txt is shared under the same licence; the rest of the folder is not derived
  from it.
- Changed: %d different answers were put one after the other as plain hex lines; the
  request line (7DF 02 ...) before each was written from the command name. Bytes of the
  answers are unchanged. Flow control was not recorded.
- The answers were taken at different moments, and perhaps from different cars of the same
  kind. They are not one session.
`, answersRepo, commit, answersYear, kept)),
	}, nil
}

func spaced(hex string) string {
	var parts []string
	for len(hex) >= 2 {
		parts, hex = append(parts, hex[:2]), hex[2:]
	}
	if hex != "" {
		parts = append(parts, hex)
	}
	return strings.Join(parts, " ")
}

const answersJob = `# Example 04: real answers of real modules; see README.md and captures/PROVENANCE.md.
schema: proveout/job/1
job: REAL-04
shop: Quarry Lane Garage
technician: Tom Aldous
opened: "2026-11-17"
vehicle:
  # A petrol light truck. The recording does not say which engine it has: the layout
  # below is an assumption, made so that something can be listed at all.
  make: not stated
  model: light truck
  engine:
    cylinders: 6
    arrangement: vee
    banks: [[1, 2, 3], [4, 5, 6]]
    ignition: coil_on_plug
    injection: port
    boosted: false
    fuel: petrol
    access: easy
complaint:
  said: The lamp is on. No complaint otherwise.
  conditions: {lamp: steady}
captures:
  - file: captures/answers.txt
    kind: diagnostic
    note: Answers of service 01, taken at different moments.
`

const answersReadme = `# 04 - Real answers: the lamp is on, and nobody has read why

Real bytes of real modules (source, commit and licence in captures/PROVENANCE.md), put
behind one another as a log of plain hex lines. Job, shop and people are invented. The
engine layout is an assumption, as the job file says.

**What the tool should find, and why.**

1. Readiness and lamp are decoded: the lamp is commanded on and one code is counted in the
   first answer that says so. The log has no service 03, 07 or 0A: the code itself was not
   read. Read and save it before anything is cleared.
2. Live parameters are decoded with their units. What the tool does not know is shown raw.
3. The answers come from different moments, so values that contradict each other are to be
   expected; nothing is measured as a trend.
4. Nothing is proven, nothing is ruled out, no part is named.
`

// realCrank copies a recording of crank and cam sensors of a six-cylinder engine
// while it is cranked, with its licence.
func realCrank(shared string) (folder, error) {
	dir := filepath.Join(shared, "data", "crank-triggers")
	rec, err := os.ReadFile(filepath.Join(dir, "nissan_vq40_cranking-1.csv"))
	if err != nil {
		return nil, err
	}
	licence, err := os.ReadFile(filepath.Join(dir, "LICENSE.txt"))
	if err != nil {
		return nil, err
	}
	return folder{
		"captures/crank-and-cam.csv": rec,
		"captures/LICENSE.txt":       licence,
		"captures/PROVENANCE.md":     []byte(crankProvenance),
		"job.yaml":                   []byte(crankJob),
		"README.md":                  []byte(crankReadme),
	}, nil
}

const crankProvenance = `# Where crank-and-cam.csv comes from

- Source: github FOME-Tech/fome-fw, commit a2ea8b936c6005f36afbc8b312d9a90ae5e4539e, folder
  unit_tests/tests/trigger/resources/, file nissan_vq40_cranking-1.csv (renamed, bytes
  unchanged).
- Licence: GNU General Public License version 3 with the notes of that repository, in
  LICENSE.txt beside this file. It covers crank-and-cam.csv only, a separate data file.
- Recorder: logic analyser. One row for every change of a level: time in seconds, crank, cam,
  second cam.
- What its own tests say: 243 rpm at the end, no decoder warning.
`

const crankJob = `# Example 05: a real recording of a starting attempt; see README.md and captures/PROVENANCE.md.
schema: proveout/job/1
job: REAL-05
shop: Quarry Lane Garage
technician: Ines Varga
opened: "2026-11-18"
vehicle:
  make: not stated
  model: six-cylinder, cranked for a sensor check
  engine:
    cylinders: 6
    arrangement: vee
    banks: [[1, 3, 5], [2, 4, 6]]
    firing_order: [1, 2, 3, 4, 5, 6]
    ignition: coil_on_plug
    injection: port
    boosted: false
    fuel: petrol
    displacement: 4.0 L
    access: buried
complaint:
  said: Crank and cam sensors are to be checked while cranking.
captures:
  - file: captures/crank-and-cam.csv
    condition: {state: cranking}
    probe: {name: logic analyser}
    note: One row for every change of a level.
`

const crankReadme = `# 05 - A real recording of crank and cam while cranking

A logic analyser's edge list of a six-cylinder engine on the starter (source, commit and
licence in captures/PROVENANCE.md and captures/LICENSE.txt). Job, shop and people are invented.

**What the tool should find, and why.**

1. It is an edge list: one row for each change, not uniform samples; three logic channels;
   times in seconds.
2. The kind is found out: a crank wheel of 36 pitches with three gaps of two missing teeth, two
   cams that come back every second turn, and no doubled or missing edge.
3. Readings: cranking speed about 241 rpm, and six even compressions a turn of the cam. Which
   cylinder is which stays unknown, for there is no sync of cylinder 1, and a loss that all
   cylinders share would not show. No fault book test reads these yet, so they move no odds.
4. Nothing is proven and no part is named.
`
