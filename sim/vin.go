package sim

import "math/rand/v2"

const vinLetters = "ABCDEFGHJKLMNPRSTUVWXYZ0123456789"

// InventedVIN draws a vehicle identification number of an invented maker. It
// starts with 0PV: no region is given the figure 0, so no maker has it. The
// check digit in position 9 is right (49 CFR 565, Table III and IV: sum of value
// times weight, modulo 11, 10 written X) and position 10 is the model year, 2010
// to 2039.
func InventedVIN(rng *rand.Rand, year int) string {
	b := []byte("0PV")
	for len(b) < 8 {
		b = append(b, vinLetters[rng.IntN(len(vinLetters))])
	}
	b[6] = "ABCDEFGH"[rng.IntN(8)]                 // letter: model years 2010 to 2039
	const years = "ABCDEFGHJKLMNPRSTVWXY123456789" // 2010 to 2039
	b = append(b, '0', years[((year-2010)%30+30)%30], 'P')
	for len(b) < 17 {
		b = append(b, byte('0'+rng.IntN(10)))
	}
	b[8] = checkDigit(b)
	return string(b)
}

// checkDigit works out position 9.
func checkDigit(vin []byte) byte {
	weights := [17]int{8, 7, 6, 5, 4, 3, 2, 10, 0, 9, 8, 7, 6, 5, 4, 3, 2}
	const value = "0123456789.ABCDEFGH..JKLMN.P.R..STUVWXYZ"
	sum := 0
	for i, c := range vin {
		for k := range value {
			if value[k] == c {
				sum += k % 10 * weights[i]
			}
		}
	}
	return "0123456789X"[sum%11]
}
