package job

import (
	"encoding/json"
	"fmt"
	"strings"
	"testing"
)

// chain writes n entries of one device, each after the one before.
func chain(t *testing.T, device string, n int) (lines [][]byte, head string) {
	t.Helper()
	for i := 1; i <= n; i++ {
		line, err := json.Marshal(Entry{
			Schema: EntrySchemaID, ID: fmt.Sprintf("%s-%d", device, i), Shop: "s1", Job: "j1", Author: "a1", Device: device, Sequence: i, Previous: head,
			Wall: "2026-11-25T14:05:00+01:00", MonotonicNS: int64(i) * 1e9, BootID: "b1", Type: "reading_typed@1", Parents: []string{}, Payload: json.RawMessage(`{"gap":"1.1 mm"}`),
		})
		if err != nil {
			t.Fatal(err)
		}
		lines, head = append(lines, line), Digest(line)
	}
	return lines, head
}

func TestRecordOfTwoDevicesVerifies(t *testing.T) {
	a, headA := chain(t, "tablet", 3)
	b, headB := chain(t, "phone", 2)
	mixed := [][]byte{a[0], b[0], a[1], b[1], a[2]}
	if ps := VerifyRecord(mixed, map[string]string{"tablet": headA, "phone": headB}); len(ps) > 0 {
		t.Errorf("a sound record: %v", ps)
	}
}

// Every way of tampering is found, and its line named; hashing the chain anew is
// found against the head.
func TestTamperingIsFound(t *testing.T) {
	good, head := chain(t, "tablet", 4)
	heads := map[string]string{"tablet": head}
	edit := func(f func(l [][]byte) [][]byte) [][]byte { return f(append([][]byte(nil), good...)) }
	anew, _ := chain(t, "tablet", 3)
	for name, c := range map[string]struct {
		lines [][]byte
		line  int
		says  string
	}{
		"a value changed": {edit(func(l [][]byte) [][]byte {
			l[1] = []byte(strings.Replace(string(l[1]), "1.1 mm", "1.6 mm", 1))
			return l
		}), 3, "changed or replaced"},
		"an entry gone": {edit(func(l [][]byte) [][]byte { return append(l[:1], l[2:]...) }), 2, "missing"},
		"the last gone": {edit(func(l [][]byte) [][]byte { return l[:3] }), 3, "signed head"},
		"two swapped":   {edit(func(l [][]byte) [][]byte { l[1], l[2] = l[2], l[1]; return l }), 2, "out of order"},
		"hashed anew":   {anew, 3, "hashed anew"},
		"a chain taken": {nil, 0, "taken away"},
		"not an entry":  {edit(func(l [][]byte) [][]byte { l[0] = []byte("{"); return l }), 1, "not an entry"},
		"a newer schema": {edit(func(l [][]byte) [][]byte {
			l[3] = []byte(strings.Replace(string(l[3]), "entry/1", "entry/2", 1))
			return l
		}), 4, "newer"},
		"one written twice": {edit(func(l [][]byte) [][]byte { return append(l, l[3]) }), 5, "stands twice"},
	} {
		ps := VerifyRecord(c.lines, heads)
		found := false
		for _, p := range ps {
			found = found || p.Line == c.line && strings.Contains(p.Text, c.says)
		}
		if !found {
			t.Errorf("%s: not found at line %d; said %v", name, c.line, ps)
		}
	}
}

// An entry of a type this program does not know is kept and its bytes are what is
// hashed, white space and all.
func TestUnknownTypesAreKept(t *testing.T) {
	line := []byte(`{"schema":"proveout/entry/1", "id":"x", "job":"j", "shop":"s", "author":"a", "device":"d", "device_sequence":1, "previous":"", "wall":"2026-11-25T14:05:00Z", "boot_id":"b", "monotonic_ns":1, "type":"weather@7", "parents":[], "payload":{"rain": true}, "later":"field"}`)
	e, err := ParseEntry(line)
	if err != nil || e.Type != "weather@7" || string(e.Payload) != `{"rain": true}` {
		t.Fatalf("%+v, %v", e, err)
	}
	if Digest(line) == Digest([]byte(strings.Replace(string(line), ", ", ",", 1))) {
		t.Error("the digest does not see the bytes")
	}
}

func FuzzParseEntry(f *testing.F) {
	f.Add([]byte(`{"schema":"proveout/entry/1"}`))
	f.Fuzz(func(t *testing.T, line []byte) {
		if e, err := ParseEntry(line); err == nil && (e.ID == "" || e.Sequence < 1) {
			t.Errorf("%q was taken as %+v", line, e)
		}
		VerifyRecord([][]byte{line, line}, nil)
	})
}
