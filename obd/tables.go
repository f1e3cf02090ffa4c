package obd

import (
	"embed"
	"encoding/csv"
	"strconv"
	"strings"
	"sync"
)

// The tables are read when first asked for, so that a program that never
// decodes pays nothing for them at start.
//
//go:embed tables/*.csv
var tableFiles embed.FS

// table reads an embedded table without its header. It panics on a damaged
// table: that is a mistake of the program, not of its input.
func table(name string) [][]string {
	f, err := tableFiles.Open("tables/" + name + ".csv")
	if err != nil {
		panic("obd: " + err.Error())
	}
	defer f.Close()
	rows, err := csv.NewReader(f).ReadAll()
	if err != nil || len(rows) < 2 {
		panic("obd: table " + name + " is damaged")
	}
	return rows[1:]
}

// hexByte reads a table's hex byte; ok is false for ranges such as "E1-FF".
func hexByte(s string) (byte, bool) {
	v, err := strconv.ParseUint(s, 16, 8)
	return byte(v), err == nil && len(s) == 2
}

func mustByte(s string) byte {
	b, ok := hexByte(s)
	if !ok {
		panic("obd: table cell " + s + " is not a hex byte")
	}
	return b
}

func mustFloat(s string) float64 {
	v, err := strconv.ParseFloat(s, 64)
	if err != nil {
		panic("obd: table cell " + s + " is not a number")
	}
	return v
}

func mustInt(s string) int { return int(mustFloat(s)) }

// texts reads a table whose first column is a hex byte and second its meaning.
func texts(name string) func() map[byte]string {
	return sync.OnceValue(func() map[byte]string {
		out := map[byte]string{}
		for _, r := range table(name) {
			if b, ok := hexByte(r[0]); ok {
				out[b] = r[1]
			}
		}
		return out
	})
}

var (
	responseCodes = texts("nrc")
	monitorNames  = texts("mode06_mids")
	testNames     = texts("mode06_tids")
	infoNames     = texts("service09")
	failureTypes  = texts("dtc_failure_types")
)

// enumTexts gives the meaning of an enumerated value by PID and raw value.
var enumTexts = sync.OnceValue(func() map[[2]byte]string {
	out := map[[2]byte]string{}
	for _, r := range table("enums") {
		out[[2]byte{mustByte(r[0]), mustByte(r[1])}] = r[2]
	}
	return out
})

// NegativeText is the name of a negative response code, in words:
// "conditions not correct" for 22.
func NegativeText(code byte) (string, bool) {
	s, ok := responseCodes()[code]
	if !ok {
		return "unknown response code", false
	}
	return words(s), true
}

// words spells a name such as conditionsNotCorrect in small words.
func words(s string) string {
	var b strings.Builder
	for i, c := range s {
		switch {
		case c == '-':
			b.WriteString(", ")
		case c >= 'A' && c <= 'Z':
			if i > 0 && s[i-1] != '-' {
				b.WriteByte(' ')
			}
			b.WriteRune(c + 'a' - 'A')
		default:
			b.WriteRune(c)
		}
	}
	return b.String()
}
