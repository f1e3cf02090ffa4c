package obd

import "testing"

// Fill bytes go at the ends only; any other byte that is no letter is shown.
func TestOnlyFillIsTrimmed(t *testing.T) {
	for _, c := range []struct {
		in   []byte
		want string
	}{
		{[]byte("ECM\x00\x00"), "ECM"}, {[]byte("\xFF\xFFECM \xFF"), "ECM"}, {[]byte("A\x80\xFF"), `A\x80`}, {[]byte("\xFE\x00"), `\xFE`}, {nil, ""},
	} {
		if got := printable(c.in); got != c.want {
			t.Errorf("%x is shown as %q, want %q", c.in, got, c.want)
		}
	}
}
