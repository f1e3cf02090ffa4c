package vehicle

import (
	"fmt"
	"strings"
)

// VIN is a vehicle identification number of 17 characters, in capitals
// (ISO 3779, 49 CFR 565).
type VIN string

// vinLetters gives each allowed letter its value (49 CFR 565.15 Table III).
// I, O and Q are not allowed.
const (
	vinLetters = "ABCDEFGHJKLMNPRSTUVWXYZ"
	vinValues  = "12345678123457923456789"
	// vinYears are the codes of position 10 in order from 1980, and again from
	// 2010 (Table VII). I, O, Q, U, Z and 0 are not used.
	vinYears = "ABCDEFGHJKLMNPRSTVWXY123456789"
)

// vinWeights are the weights of positions 1 to 17 (49 CFR 565.15 Table IV).
var vinWeights = [17]int{8, 7, 6, 5, 4, 3, 2, 10, 0, 9, 8, 7, 6, 5, 4, 3, 2}

// ParseVIN normalises a VIN: capitals, without blanks and hyphens. The error
// says how many characters there are or which one is not allowed. The check
// digit is not looked at: see CheckHint.
func ParseVIN(s string) (VIN, error) {
	t := strings.ToUpper(strings.NewReplacer(" ", "", "-", "", "\t", "").Replace(strings.TrimSpace(s)))
	for i, c := range t {
		if c > 0x7F || vinValue(byte(c)) < 0 {
			why := ""
			if c == 'I' || c == 'O' || c == 'Q' {
				why = " (I, O and Q are left out because they look like 1 and 0)"
			}
			return "", fmt.Errorf("VIN %q holds %q at position %d, which no VIN has%s; read it again", s, c, i+1, why)
		}
	}
	if len(t) != 17 {
		return "", fmt.Errorf("VIN %q has %d characters; a VIN has 17", s, len(t))
	}
	return VIN(t), nil
}

func vinValue(c byte) int {
	if c >= '0' && c <= '9' {
		return int(c - '0')
	}
	if i := strings.IndexByte(vinLetters, c); i >= 0 {
		return int(vinValues[i] - '0')
	}
	return -1
}

// CheckSum is the weighted sum of all characters; its remainder by 11 (10 is
// written X) is the check digit of position 9, whose own weight is 0.
func (v VIN) CheckSum() int {
	sum := 0
	for i := range min(len(v), 17) {
		sum += max(0, vinValue(v[i])) * vinWeights[i]
	}
	return sum
}

// CheckDigit is the character that position 9 should have.
func (v VIN) CheckDigit() byte { return "0123456789X"[v.CheckSum()%11] }

// CheckOK reports whether position 9 is the check digit.
func (v VIN) CheckOK() bool { return len(v) == 17 && v[8] == v.CheckDigit() }

// NorthAmerican reports whether the first character belongs to North America
// (1 to 5; 7 is in use there too, from memory), where the check digit is
// required.
func (v VIN) NorthAmerican() bool {
	return len(v) == 17 && (v[0] >= '1' && v[0] <= '5' || v[0] == '7')
}

// CheckHint is empty when the check digit fits, otherwise a sentence. It is a
// hint, never an error: outside North America position 9 is free.
func (v VIN) CheckHint() string {
	switch {
	case len(v) != 17 || v.CheckOK():
		return ""
	case v.NorthAmerican():
		return fmt.Sprintf("VIN %s: position 9 is %c, the check digit would be %c; a character is probably misread", v, v[8], v.CheckDigit())
	}
	return fmt.Sprintf("VIN %s: position 9 is %c, a check digit would be %c; outside North America it need not be one", v, v[8], v.CheckDigit())
}

// WMI, VDS and VIS are the maker, descriptor and indicator sections.
func (v VIN) WMI() string { return v.section(0, 3) }

// VDS is positions 4 to 9.
func (v VIN) VDS() string { return v.section(3, 9) }

// VIS is positions 10 to 17.
func (v VIN) VIS() string { return v.section(9, 17) }

func (v VIN) section(from, to int) string {
	if len(v) != 17 {
		return ""
	}
	return string(v[from:to])
}

// LowVolumeMaker reports whether position 3 is 9: then positions 12 to 14
// complete the maker's identifier (49 CFR 565.15 (a)).
func (v VIN) LowVolumeMaker() bool { return len(v) == 17 && v[2] == '9' }

// ModelYears are the years position 10 can mean, oldest first: none, or two
// that are 30 years apart.
func (v VIN) ModelYears() []int {
	if len(v) != 17 {
		return nil
	}
	i := strings.IndexByte(vinYears, v[9])
	if i < 0 {
		return nil
	}
	return []int{1980 + i, 2010 + i}
}

// ModelYear decides between the two years by position 7: a digit means 1980 to
// 2009, a letter 2010 to 2039 (49 CFR 565.15, note to Table VII). The rule binds
// cars and light trucks of North America; elsewhere sure is false. Year is 0
// when position 10 is not a year code.
func (v VIN) ModelYear() (year int, sure bool) {
	years := v.ModelYears()
	if years == nil {
		return 0, false
	}
	if v[6] >= '0' && v[6] <= '9' {
		return years[0], v.NorthAmerican()
	}
	return years[1], v.NorthAmerican()
}
