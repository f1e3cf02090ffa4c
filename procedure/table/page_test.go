package table_test

import (
	"encoding/json"
	"os"
	"os/exec"
	"path/filepath"
	"strconv"
	"strings"
	"testing"

	"proveout/procedure"
	"proveout/procedure/table"
)

// drive runs traces through the page's interpreter and prints the first difference.
const drive = `
import { readFileSync } from 'node:fs';
import { pathToFileURL } from 'node:url';
const { interpreter } = await import(pathToFileURL(process.argv[2]).href);
let lines = 0;
for (const { table, traces } of JSON.parse(readFileSync(process.argv[3], 'utf8'))) {
  const run = interpreter(table);
  for (const tr of traces) {
    let state = run.begin();
    tr.lines.forEach((l, k) => {
      const got = run.take(state, l.entry);
      state = JSON.parse(JSON.stringify(got.state)); // it can be kept and read back
      const v = run.view(state, l.entry.at);
      const differ = (what, a, b) => { if (JSON.stringify(a) !== JSON.stringify(b)) { console.log(tr.procedure + ' seed ' + tr.seed + ' line ' + k + ' ' + l.entry.kind + ' ' + (l.entry.step || '') + ': ' + what + '\npage:   ' + JSON.stringify(a) + '\nrunner: ' + JSON.stringify(b)); process.exit(1); } };
      differ('reasons', got.reasons, l.reasons || []);
      differ('state', v.digest, l.digest);
      differ('open', v.open, l.open);
      differ('active', v.active, l.active);
      differ('make safe', v.makeSafe, l.make_safe);
      lines++;
    });
  }
}
console.log('same in ' + lines + ' lines');
`

// TestTracesDriveThePage: the kept traces, and fresh random ones, bring the page's
// interpreter to the same states, open steps and refusals, word for word, as the Go
// runner. PROVEOUT_TRACES asks for more fresh ones.
func TestTracesDriveThePage(t *testing.T) {
	node, err := exec.LookPath("node")
	if err != nil {
		t.Skip("not run: there is no node here to run the page's script with")
	}
	fresh := 2
	if n, err := strconv.Atoi(os.Getenv("PROVEOUT_TRACES")); err == nil {
		fresh = n
	}
	type unit struct {
		Table  table.Table `json:"table"`
		Traces []trace     `json:"traces"`
	}
	var all []unit
	for _, tr := range golden(t) {
		m, _, err := procedure.LoadShipped(tr.Procedure)
		if err != nil {
			t.Fatal(err)
		}
		tab, err := table.Compile(m, "test")
		if err != nil {
			t.Fatal(err)
		}
		u := unit{tab, []trace{tr}}
		for seed := 1; seed <= fresh; seed++ {
			u.Traces = append(u.Traces, play(t, tr.Procedure, uint64(seed), 250))
		}
		all = append(all, u)
	}
	dir := t.TempDir()
	data, err := json.Marshal(all)
	if err != nil {
		t.Fatal(err)
	}
	script, input := filepath.Join(dir, "drive.mjs"), filepath.Join(dir, "traces.json")
	module, err := os.ReadFile("../../web/assets/procedure-table.js")
	if err != nil {
		t.Fatal(err)
	}
	copied := filepath.Join(dir, "procedure-table.mjs") // node takes .mjs for a module whatever stands around it
	for name, text := range map[string][]byte{script: []byte(drive), input: data, copied: module} {
		if err := os.WriteFile(name, text, 0o600); err != nil {
			t.Fatal(err)
		}
	}
	out, err := exec.Command(node, script, copied, input).CombinedOutput()
	if err != nil || !strings.Contains(string(out), "same in") {
		t.Fatalf("%v\n%s", err, out)
	}
	t.Logf("%s", out)
}

// TestTableIsWhole: every table is JSON that says the same when read back, and names
// nothing that is not there.
func TestTableIsWhole(t *testing.T) {
	for _, id := range procedure.Shipped() {
		m, _, err := procedure.LoadShipped(id)
		if err != nil {
			t.Fatal(err)
		}
		tab, err := table.Compile(m, "sha")
		if err != nil {
			t.Fatal(err)
		}
		data, err := json.Marshal(tab)
		if err != nil {
			t.Fatal(err)
		}
		var back table.Table
		if err := json.Unmarshal(data, &back); err != nil {
			t.Fatal(err)
		}
		again, err := json.Marshal(back)
		if err != nil || string(again) != string(data) {
			t.Errorf("%s: the table changes when it is read back (%v)", id, err)
		}
		if len(tab.Steps) != len(m.Steps) || len(tab.Disturbs) != 5 || len(tab.Steps[0].Recovers) != len(procedure.Kinds) {
			t.Errorf("%s: %d steps of %d, %d kinds of doubt", id, len(tab.Steps), len(m.Steps), len(tab.Disturbs))
		}
		if len(data) > 400_000 {
			t.Errorf("%s: the table has %d bytes", id, len(data))
		}
	}
}
