package book

import (
	"fmt"
	"strings"
	"testing"
)

// large is a book of about the given size, of the form of the built-in ones.
func large(size int) []byte {
	var b strings.Builder
	b.WriteString("schema: proveout/book/1\nid: large\nversion: \"1\"\ntitle: large\nsources: {EST: our estimate}\ntests:\n")
	for i := 0; b.Len() < size; i++ {
		fmt.Fprintf(&b, "  - id: test_%d\n    name: Test number %d\n    per: cylinder\n    minutes: {easy: [6, EST], buried: [40, EST], more: [2, EST]}\n    do: >\n      Move the coil to another cylinder, and\n      look again.\n    given:\n", i, i)
		for j := range 12 {
			fmt.Fprintf(&b, "      fault_%d: {high: 0.85, low: 0.02, src: EST, where: own}\n", j)
		}
	}
	return []byte(b.String())
}

// BenchmarkLoad200kB: a 200 kB book must load in well under 100 ms.
func BenchmarkLoad200kB(b *testing.B) {
	text := large(200_000)
	b.SetBytes(int64(len(text)))
	b.ReportAllocs()
	for b.Loop() {
		if _, ps := Load("large.yaml", text); len(ps) != 0 {
			b.Fatal(ps)
		}
	}
}

func BenchmarkInstantiateBuiltin(b *testing.B) {
	books, err := Builtin()
	if err != nil {
		b.Fatal(err)
	}
	e := Layouts()[len(Layouts())-1]
	for b.Loop() {
		if _, err := Instantiate(e, books...); err != nil {
			b.Fatal(err)
		}
	}
}

func BenchmarkCheckBuiltin(b *testing.B) {
	books, err := Builtin()
	if err != nil {
		b.Fatal(err)
	}
	for b.Loop() {
		Check(books...)
	}
}
