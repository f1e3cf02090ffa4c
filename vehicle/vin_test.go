package vehicle

import (
	"proveout/published"
	"strconv"
	"strings"
	"testing"
)

// Every row of vin_examples.csv (49 CFR 565 Table VI and published examples).
func TestVINExamples(t *testing.T) {
	for _, row := range published.Rows(t, "vin_examples.csv", 12) {
		v, err := ParseVIN(row[0])
		if why, ok := strings.CutPrefix(row[5], "reject: "); ok {
			want := map[string]string{"16 characters": "16 characters", "contains I": "'I' at position 13"}[why]
			if err == nil || want == "" || !strings.Contains(err.Error(), want) {
				t.Errorf("%s: %v, want %q", row[0], err, why)
			}
			continue
		}
		if err != nil {
			t.Errorf("%s: %v", row[0], err)
			continue
		}
		if row[5] == "lower case: normalise then valid" {
			if v != "1G4AH59H45G118341" || !v.CheckOK() {
				t.Errorf("%s: %s", row[0], v)
			}
			continue
		}
		sum, _ := strconv.Atoi(row[1])
		mod, _ := strconv.Atoi(row[2])
		if v.CheckSum() != sum || v.CheckSum()%11 != mod || string(v.CheckDigit()) != row[3] || v[8:9] != VIN(row[4]) {
			t.Errorf("%s: sum %d digit %c", v, v.CheckSum(), v.CheckDigit())
		}
		if v.CheckOK() != (row[5] == "valid") || (v.CheckHint() == "") != v.CheckOK() {
			t.Errorf("%s: ok %v hint %q", v, v.CheckOK(), v.CheckHint())
		}
	}
	// Trap: a European VIN is not refused, and its hint says so.
	if h := VIN("WP0ZZZ99ZTS392124").CheckHint(); !strings.Contains(h, "outside North America") {
		t.Error(h)
	}
}

func TestVINTables(t *testing.T) {
	for _, row := range published.Rows(t, "vin_translit.csv", 33) {
		if got := vinValue(row[0][0]); strconv.Itoa(got) != row[1] {
			t.Errorf("%s = %d", row[0], got)
		}
	}
	for i, row := range published.Rows(t, "vin_weights.csv", 17) {
		if strconv.Itoa(vinWeights[i]) != row[1] || strconv.Itoa(i+1) != row[0] {
			t.Errorf("position %s: %d", row[0], vinWeights[i])
		}
	}
	for _, row := range published.Rows(t, "vin_year.csv", 60) {
		seventh := map[string]string{"numeric": "5", "alphabetic": "A"}[row[2]]
		v, err := ParseVIN("1G4AH5" + seventh + "H4" + row[1] + "G118341")
		if err != nil {
			t.Fatal(err)
		}
		if y, sure := v.ModelYear(); strconv.Itoa(y) != row[0] || !sure {
			t.Errorf("%s: %d %v, want %s", v, y, sure, row[0])
		}
	}
	for _, c := range "UZ0" {
		if y, _ := VIN("1G4AH59H4" + string(c) + "G118341").ModelYear(); y != 0 {
			t.Errorf("year code %c: %d", c, y)
		}
	}
	if y, sure := VIN("WP0ZZZ99ZTS392124").ModelYear(); y != 1996 || sure {
		t.Errorf("%d %v", y, sure)
	}
	v := VIN("1G9AH59H45G118341")
	if !v.LowVolumeMaker() || v.WMI() != "1G9" || v.VDS() != "AH59H4" || v.VIS() != "5G118341" {
		t.Error(v.WMI(), v.VDS(), v.VIS())
	}
}

func FuzzParseVIN(f *testing.F) {
	for _, s := range []string{"1G4AH59H45G118341", "1g4ah59h45g118341", " WP0-ZZZ 99ZTS392124", "", "\xff", "ÄÖÜ", "1G4AH59H45G1I8341"} {
		f.Add(s)
	}
	f.Fuzz(func(t *testing.T, s string) {
		if len(s) > 1000 {
			return
		}
		v, err := ParseVIN(s)
		if err != nil {
			if v != "" {
				t.Fatal("value beside an error")
			}
			return
		}
		if again, err := ParseVIN(string(v)); err != nil || again != v {
			t.Fatalf("%q is not stable: %q %v", v, again, err)
		}
		v.CheckHint()
		v.ModelYear()
	})
}
