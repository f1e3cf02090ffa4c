package intake

import (
	"bytes"
	"compress/gzip"
	"crypto/sha256"
	"encoding/hex"
	"errors"
	"io/fs"
	"os"
	"path/filepath"
	"strings"
	"testing"
	"time"

	"proveout/trace"
)

const csvText = "time,v (V)\n0.0,1\n0.1,2\n0.2,3\n"

// jobFolder makes a folder with one of everything.
func jobFolder(t *testing.T) string {
	t.Helper()
	outside := t.TempDir()
	write(t, filepath.Join(outside, "secret.csv"), []byte(csvText))
	dir := t.TempDir()
	write(t, filepath.Join(dir, "job.yaml"), []byte("schema: x\n"))
	write(t, filepath.Join(dir, "captures/a.csv"), []byte(csvText))
	write(t, filepath.Join(dir, "captures/b.csv"), []byte("time;u (V)\n0,0;1,5\n0,1;2,5\n0,2;3,5\n"))
	write(t, filepath.Join(dir, "captures/packed.csv.gz"), pack(t, []byte(csvText)))
	write(t, filepath.Join(dir, "captures/messages.log"), []byte("(1700000000.000000) can0 7E8#04410C1AF8AAAAAA\n"))
	write(t, filepath.Join(dir, "captures/hex.txt"), []byte("41 0C 1A F8\n41 05 7B\n"))
	write(t, filepath.Join(dir, "captures/empty.csv"), nil)
	write(t, filepath.Join(dir, "captures/photo.csv"), []byte("\x89PNG\r\n\x1a\n\x00\x00"))
	write(t, filepath.Join(dir, "captures/noise.csv"), bytes.Repeat([]byte{7, 0, 255, 3}, 1000))
	if err := os.Symlink(filepath.Join(outside, "secret.csv"), filepath.Join(dir, "captures/link.csv")); err != nil {
		t.Skip("no symbolic links here: ", err)
	}
	if err := os.Symlink(outside, filepath.Join(dir, "elsewhere")); err != nil {
		t.Fatal(err)
	}
	if err := os.Symlink("a.csv", filepath.Join(dir, "captures/inside.csv")); err != nil {
		t.Fatal(err)
	}
	return dir
}

func write(t testing.TB, name string, b []byte) {
	t.Helper()
	if err := os.MkdirAll(filepath.Dir(name), 0o755); err != nil {
		t.Fatal(err)
	}
	if err := os.WriteFile(name, b, 0o644); err != nil {
		t.Fatal(err)
	}
}

func pack(t testing.TB, b []byte) []byte {
	t.Helper()
	var out bytes.Buffer
	z := gzip.NewWriter(&out)
	if _, err := z.Write(b); err != nil {
		t.Fatal(err)
	}
	if err := z.Close(); err != nil {
		t.Fatal(err)
	}
	return out.Bytes()
}

func open(t *testing.T, dir string) *Folder {
	t.Helper()
	f, err := OpenFolder(dir)
	if err != nil {
		t.Fatal(err)
	}
	t.Cleanup(func() { f.Close() })
	return f
}

func TestFolderReadsEachKind(t *testing.T) {
	dir := jobFolder(t)
	before := snapshot(t, dir)
	f := open(t, dir)
	for name, want := range map[string]trace.Kind{
		"captures/a.csv": trace.KindText, "captures/b.csv": trace.KindText, "captures/packed.csv.gz": trace.KindText,
		"captures/messages.log": trace.KindMessages, "captures/hex.txt": trace.KindMessages, "captures/inside.csv": trace.KindText,
	} {
		got := f.Read(name, Options{})
		if got.Err != nil || got.Kind != want || (got.Recording == nil) != (want != trace.KindText) || (got.Messages == nil) != (want == trace.KindText) {
			t.Errorf("%s: %s, %v", name, got.Kind, got.Err)
			continue
		}
		b, err := os.ReadFile(filepath.Join(dir, name))
		if err != nil {
			t.Fatal(err)
		}
		sum := sha256.Sum256(b)
		if got.SHA256 != hex.EncodeToString(sum[:]) || got.Size != int64(len(b)) || got.Packed != strings.HasSuffix(name, ".gz") {
			t.Errorf("%s: hash %s, %d bytes, packed %v", name, got.SHA256, got.Size, got.Packed)
		}
		if got.Recording != nil && got.Recording.Time.N != 3 {
			t.Errorf("%s: %d samples", name, got.Recording.Time.N)
		}
	}
	if got := f.Read("captures/messages.log", Options{}); string(got.Messages) != "(1700000000.000000) can0 7E8#04410C1AF8AAAAAA\n" {
		t.Errorf("messages: %q", got.Messages)
	}
	if b, err := f.Bytes("job.yaml", 1<<20); err != nil || string(b) != "schema: x\n" {
		t.Errorf("job.yaml: %q %v", b, err)
	}
	if after := snapshot(t, dir); after != before {
		t.Errorf("the folder was changed:\n%s\nwas:\n%s", after, before)
	}
}

// snapshot lists names, sizes, modes and times of a folder.
func snapshot(t *testing.T, dir string) string {
	t.Helper()
	var b strings.Builder
	err := filepath.WalkDir(dir, func(p string, d fs.DirEntry, err error) error {
		if err != nil {
			return err
		}
		info, err := d.Info()
		if err != nil {
			return err
		}
		b.WriteString(p + " " + info.Mode().String() + " " + info.ModTime().Format(time.RFC3339Nano) + "\n")
		return nil
	})
	if err != nil {
		t.Fatal(err)
	}
	return b.String()
}

// TestFolderRefuses: nothing outside the folder, nothing that is not a file;
// each error names the file and says what to do.
func TestFolderRefuses(t *testing.T) {
	dir := jobFolder(t)
	f := open(t, dir)
	for _, c := range []struct{ name, want string }{
		{"../secret.csv", ".. leads out"},
		{"captures/../../secret.csv", ".. leads out"},
		{"/etc/hostname", "from the root of the machine"},
		{`C:\captures\a.csv`, "write /"},
		{`captures\a.csv`, "write /"},
		{"", "file name is empty"},
		{"a\x00b", "zero byte"},
		{"captures/link.csv", "leads out of the job folder"},
		{"elsewhere/secret.csv", "leads out of the job folder"},
		{"captures/none.csv", "no such file"},
		{"captures", "is a folder"},
		{"captures/empty.csv", "empty"},
		{"captures/photo.csv", "picture (PNG)"},
		{"captures/noise.csv", "not text"},
	} {
		got := f.Read(c.name, Options{})
		if got.Err == nil || !strings.Contains(got.Err.Error(), c.want) || got.Recording != nil || got.Messages != nil {
			t.Errorf("%q: %v, want an error about %q", c.name, got.Err, c.want)
		}
	}
	if f.Has("captures/link.csv") || f.Has("../secret.csv") || f.Has("captures") || !f.Has("captures/a.csv") {
		t.Error("Has sees what it must not, or not what it must")
	}
	if _, err := f.Bytes("captures/a.csv", 5); !errors.Is(err, ErrTooLarge) {
		t.Errorf("a file longer than asked for: %v", err)
	}
	if _, err := OpenFolder(filepath.Join(dir, "none")); err == nil || !strings.Contains(err.Error(), "no such folder") {
		t.Errorf("missing folder: %v", err)
	}
	if _, err := OpenFolder(filepath.Join(dir, "job.yaml")); err == nil || !strings.Contains(err.Error(), "not a folder") {
		t.Errorf("a file as folder: %v", err)
	}
}

// TestPatterns: sorted, links out of the folder are reported and not followed,
// the rest is still read.
func TestPatterns(t *testing.T) {
	f := open(t, jobFolder(t))
	got := f.ReadAll("captures/*.csv", Options{})
	var names []string
	for _, g := range got {
		state := "read"
		if g.Err != nil {
			state = "refused"
		}
		names = append(names, strings.TrimPrefix(g.Name, "captures/")+" "+state)
	}
	want := "a.csv read, b.csv read, empty.csv refused, inside.csv read, link.csv refused, noise.csv refused, photo.csv refused"
	if s := strings.Join(names, ", "); s != want {
		t.Errorf("%s\nwant\n%s", s, want)
	}
	for pattern, want := range map[string]string{"captures/*.wav": "matches no file", "captures/[": "not a pattern", "../*.csv": ".. leads out", "elsewhere/*": "matches no file"} {
		got := f.ReadAll(pattern, Options{})
		if len(got) != 1 || got[0].Err == nil || !strings.Contains(got[0].Err.Error(), want) {
			t.Errorf("%s: %+v, want an error about %q", pattern, got, want)
		}
	}
	if got := f.ReadAll("captures/*.csv", Options{Limits: Limits{Files: 2}}); len(got) != 1 || !errors.Is(got[0].Err, ErrTooLarge) {
		t.Errorf("more files than allowed: %+v", got)
	}
	total := 0
	for _, g := range f.ReadAll("captures/[ab].csv", Options{Limits: Limits{Total: 50}}) {
		if errors.Is(g.Err, ErrTooLarge) {
			total++
		}
	}
	if total != 1 {
		t.Errorf("total size: %d files refused, want 1", total)
	}
}

func TestFilesByName(t *testing.T) {
	dir := jobFolder(t)
	got := Files([]string{filepath.Join(dir, "captures/[ab].csv"), "-", "-", filepath.Join(dir, "none.csv"), filepath.Join(dir, "captures"), filepath.Join(dir, "*.none")}, strings.NewReader(csvText), Options{})
	var say []string
	for _, g := range got {
		s := "read"
		if g.Err != nil {
			s = strings.ReplaceAll(g.Err.Error(), dir, "DIR")
		}
		say = append(say, strings.ReplaceAll(g.Name, dir, "DIR")+": "+s)
	}
	want := []string{
		"DIR/captures/a.csv: read",
		"DIR/captures/b.csv: read",
		"standard input: read",
		"-: standard input can be read once; give - once",
		"DIR/none.csv: DIR/none.csv: there is no such file; check the name",
		"DIR/captures: DIR/captures is a folder; name the files in it, for example DIR/captures/*.csv",
		"DIR/*.none: DIR/*.none matches no file; check the name",
	}
	if strings.Join(say, "\n") != strings.Join(want, "\n") {
		t.Errorf("got\n%s\nwant\n%s", strings.Join(say, "\n"), strings.Join(want, "\n"))
	}
	if got := Files([]string{"-"}, bytes.NewReader(pack(t, []byte(csvText))), Options{}); got[0].Err != nil || !got[0].Packed || got[0].Recording.Time.N != 3 {
		t.Errorf("gzip on standard input: %+v", got[0])
	}
}

func TestLimits(t *testing.T) {
	dir := t.TempDir()
	big := bytes.Repeat([]byte("0.0,1\n0.1,2\n"), 20000)
	text := append([]byte("time,v (V)\n"), big...)
	write(t, filepath.Join(dir, "big.csv"), text)
	write(t, filepath.Join(dir, "big.csv.gz"), pack(t, text))
	bomb := pack(t, append([]byte("time,v (V)\n0,1\n1,2\n2,3\n"), bytes.Repeat([]byte("3,4\n"), 8<<20)...))
	write(t, filepath.Join(dir, "bomb.csv.gz"), bomb)
	write(t, filepath.Join(dir, "zeros.gz"), pack(t, make([]byte, 32<<20)))
	write(t, filepath.Join(dir, "twice.gz"), pack(t, pack(t, []byte(csvText))))
	write(t, filepath.Join(dir, "bad.gz"), []byte("\x1f\x8b\x08"))
	write(t, filepath.Join(dir, "messages.log"), bytes.Repeat([]byte("(1700000000.000000) can0 7E8#04410C1AF8AAAAAA\n"), 100))
	f := open(t, dir)
	for _, c := range []struct {
		name  string
		lim   Limits
		want  string
		large bool
	}{
		{"big.csv", Limits{File: 1000}, "at most 1000 bytes", true},
		{"big.csv", Limits{Values: 1000}, "--max-values", false},
		{"big.csv.gz", Limits{Unpacked: 100000}, "unpacked file is longer than 97.7 KiB", true},
		{"bomb.csv.gz", Limits{}, "packed bytes unpack to more than", true},
		{"zeros.gz", Limits{}, "not text", false},
		{"twice.gz", Limits{}, "twice", false},
		{"bad.gz", Limits{}, "damaged at the start", false},
		{"messages.log", Limits{Messages: 100}, "message log is longer than 100 bytes", true},
	} {
		got := f.Read(c.name, Options{Limits: c.lim})
		if got.Err == nil || !strings.Contains(got.Err.Error(), c.want) || errors.Is(got.Err, ErrTooLarge) != c.large || got.Recording != nil {
			t.Errorf("%s with %+v: %v, want an error about %q", c.name, c.lim, got.Err, c.want)
		}
		if !strings.HasPrefix(got.Err.Error(), c.name) {
			t.Errorf("%s: the error does not begin with the file: %v", c.name, got.Err)
		}
	}
	if got := Files([]string{"-"}, bytes.NewReader(text), Options{Limits: Limits{File: 1000}}); !errors.Is(got[0].Err, ErrTooLarge) {
		t.Errorf("a stream longer than the limit: %v", got[0].Err)
	}
	if got := f.Read("big.csv.gz", Options{}); got.Err != nil || got.Recording.Time.N != 40000 {
		t.Errorf("an honest packed file: %v", got.Err)
	}
}

// TestDamagedPacking: what was unpacked before the damage is used, and said.
func TestDamagedPacking(t *testing.T) {
	text := []byte("time,v (V)\n")
	for i := range 50000 {
		text = append(text, []byte{byte('0' + i/10000%10), byte('0' + i/1000%10), byte('0' + i/100%10), byte('0' + i/10%10), byte('0' + i%10), ',', byte('0' + i*7%10), '\n'}...)
	}
	packed := pack(t, text)
	wrongSum := bytes.Clone(packed)
	wrongSum[len(wrongSum)-6] ^= 0xff
	for name, b := range map[string][]byte{"cut": packed[:len(packed)*2/3], "wrong checksum": wrongSum} {
		got := Files([]string{"-"}, bytes.NewReader(b), Options{})[0]
		if got.Err != nil {
			t.Errorf("%s: %v", name, got.Err)
			continue
		}
		noted := false
		for _, n := range got.Recording.Notes {
			noted = noted || n.Lost && strings.Contains(n.Text, "ends early")
		}
		if !noted || got.Recording.Time.N < 10000 || got.SHA256 == "" {
			t.Errorf("%s: %d samples, notes %v", name, got.Recording.Time.N, got.Recording.Notes)
		}
	}
}

func TestProgress(t *testing.T) {
	dir := t.TempDir()
	text := append([]byte("time,v (V)\n"), bytes.Repeat([]byte("0.0,1\n0.1,2\n"), 300000)...)
	write(t, filepath.Join(dir, "a.csv"), text)
	var last, calls int64
	got := open(t, dir).Read("a.csv", Options{Progress: func(name string, done, total int64) {
		if name != "a.csv" || done < last || total != int64(len(text)) {
			t.Errorf("%s: %d after %d of %d", name, done, last, total)
		}
		last = done
		calls++
	}})
	if got.Err != nil || last != int64(len(text)) || calls < 3 {
		t.Errorf("%v: %d calls, last %d of %d", got.Err, calls, last, len(text))
	}
}

// TestWant: the person's word decides where the first lines mislead.
func TestWant(t *testing.T) {
	text := "10 20 30\n11 21 31\n12 22 32\n"
	got := Files([]string{"-"}, strings.NewReader(text), Options{Want: trace.KindMessages})[0]
	if got.Err != nil || string(got.Messages) != text {
		t.Errorf("messages wanted: %+v", got)
	}
	got = Files([]string{"-"}, strings.NewReader("41 05 78\n41 05 79\n41 05 79\n"), Options{Want: trace.KindText})[0]
	if got.Err != nil || got.Recording == nil || len(got.Recording.Channels) < 2 {
		t.Errorf("samples wanted: %+v", got)
	}
}

// TestSamplesAreNotMessages: none of the files of samples we have is taken for
// a log of messages.
func TestSamplesAreNotMessages(t *testing.T) {
	files, _ := filepath.Glob("../trace/testdata/text/*.[ct][sx][vt]")
	if len(files) < 30 {
		t.Fatal("the fixtures of trace are not here")
	}
	for _, dir := range []string{"crank-triggers", "healthy-obd-etios", "healthy-obd-leon", "actuator-ballscrew"} {
		more, _ := filepath.Glob("../../shared/data/" + dir + "/*.csv")
		if len(more) == 0 {
			t.Log("../shared/data/" + dir + " is not here")
		}
		files = append(files, more...)
	}
	for _, f := range Files(files, nil, Options{}) {
		if f.Err != nil || f.Kind != trace.KindText {
			t.Errorf("%s: %s, %v", f.Name, f.Kind, f.Err)
		}
	}
}
