package book

import "testing"

// Any bytes load or are refused, and what loads can be checked and, when the
// check finds no error, applied to every layout.
func FuzzLoad(f *testing.F) {
	f.Add([]byte(small))
	f.Add([]byte("schema: proveout/book/1\nfaults: [{id: a, rate: [1e-3, X], complaint: {s: 0.5}}]\n"))
	f.Add([]byte("tests: [{given: {a: {b: 0.5, src: X, where: other}}, healthy: {b: 1}, outcomes: [{id: b, from: -.inf, to: 3}]}]\n"))
	f.Fuzz(func(t *testing.T, data []byte) {
		if len(data) > 1<<14 {
			return
		}
		b, ps := Load("f.yaml", data)
		if b == nil {
			if len(ps) == 0 {
				t.Fatal("no book and no problem")
			}
			return
		}
		errors := len(ps)
		for _, p := range Check(b) {
			if p.Text == "" || p.File == "" {
				t.Fatalf("problem without text or file: %+v", p)
			}
			if p.Severity == "error" {
				errors++
			}
		}
		if errors > 0 {
			return
		}
		for _, e := range Layouts() {
			if _, err := Instantiate(e, b); err != nil {
				t.Fatalf("no problem was found, but: %v", err)
			}
		}
	})
}
