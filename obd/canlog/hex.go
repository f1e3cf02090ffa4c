package canlog

import "strconv"

// nibble maps a hex digit to its value; 0xFF for any other byte.
var nibble = func() (t [256]byte) {
	for i := range t {
		t[i] = 0xFF
	}
	for i := byte(0); i < 10; i++ {
		t['0'+i] = i
	}
	for i := byte(0); i < 6; i++ {
		t['a'+i], t['A'+i] = 10+i, 10+i
	}
	return t
}()

func isHex(s []byte) bool {
	for _, c := range s {
		if nibble[c] == 0xFF {
			return false
		}
	}
	return len(s) > 0
}

// hexValue reads up to 8 hex digits; the caller has checked them.
func hexValue(s []byte) uint32 {
	var v uint32
	for _, c := range s {
		v = v<<4 | uint32(nibble[c])
	}
	return v
}

// appendHex appends the bytes of an even number of checked hex digits.
func appendHex(dst, s []byte) []byte {
	for i := 0; i+1 < len(s); i += 2 {
		dst = append(dst, nibble[s[i]]<<4|nibble[s[i+1]])
	}
	return dst
}

func plural(n int, one, many string) string {
	if n == 1 {
		return "1 " + one
	}
	return strconv.Itoa(n) + " " + many
}
