package job

import (
	"fmt"
	"strings"
)

// vinValue is the value of each VIN letter for the check digit (49 CFR 565.15
// (c), table III).
var vinValue = map[rune]int{
	'A': 1, 'B': 2, 'C': 3, 'D': 4, 'E': 5, 'F': 6, 'G': 7, 'H': 8, 'J': 1, 'K': 2, 'L': 3, 'M': 4, 'N': 5,
	'P': 7, 'R': 9, 'S': 2, 'T': 3, 'U': 4, 'V': 5, 'W': 6, 'X': 7, 'Y': 8, 'Z': 9,
}

// vinWeight is the weight of each place (49 CFR 565.15 (c), table IV).
var vinWeight = [17]int{8, 7, 6, 5, 4, 3, 2, 10, 0, 9, 8, 7, 6, 5, 4, 3, 2}

// oddVIN says what is odd about a typed VIN. It is never a reason to stop: old
// and imported vehicles have others, and only some markets use the check digit.
func oddVIN(vin string) []string {
	v := []rune(strings.ToUpper(strings.TrimSpace(vin)))
	if len(v) != 17 {
		return []string{fmt.Sprintf("%d characters; a VIN has 17: read it again from the vehicle", len(v))}
	}
	sum := 0
	for i, c := range v {
		n, ok := vinValue[c]
		if c >= '0' && c <= '9' {
			n, ok = int(c-'0'), true
		}
		if !ok {
			return []string{fmt.Sprintf("character %d is %q; a VIN has digits and letters except I, O and Q: read it again from the vehicle", i+1, c)}
		}
		sum += n * vinWeight[i]
	}
	want := "0123456789X"[sum%11]
	if byte(v[8]) != want {
		return []string{fmt.Sprintf("the check digit (place 9) is %c and would be %c; vehicles made for North America must fit, others need not: compare with the vehicle", v[8], want)}
	}
	return nil
}
