package measure

// openCircuit is the rested voltage of a flooded 12 V lead-acid battery against its
// state of charge, at 26.7 degC (80 degF). Source: BCI table, standards.md 8.1.
var openCircuit = []struct{ volts, percent float64 }{
	{11.89, 0}, {12.06, 25}, {12.24, 50}, {12.45, 75}, {12.65, 100},
}

// perDegree is what the rested voltage is corrected by: 0.024 V for 10 degF, that
// is 0.00432 V for each kelvin. Source: BCI, standards.md 8.1.
const (
	perDegree    = 0.024 * 1.8 / 10
	tableCelsius = (80.0 - 32) / 1.8
)

// StateOfCharge gives the state of charge in percent of a flooded 12 V lead-acid
// battery from its rested voltage and its temperature in degree Celsius: linear
// between the rows of the BCI table, after correction to 26.7 degC, and held at 0
// and 100 beyond its ends. Surface charge must be gone; AGM and EFB batteries rest
// 0.1 to 0.2 V higher (from memory) and come out too full.
func StateOfCharge(volts, celsius float64) float64 {
	v := volts + perDegree*(celsius-tableCelsius)
	t := openCircuit
	if v <= t[0].volts {
		return t[0].percent
	}
	for i := 1; i < len(t); i++ {
		if v <= t[i].volts {
			return t[i-1].percent + (v-t[i-1].volts)/(t[i].volts-t[i-1].volts)*(t[i].percent-t[i-1].percent)
		}
	}
	return t[len(t)-1].percent
}

// loadTest is the lowest voltage of a good 12 V battery after 15 s at half its cold
// cranking amperes, against temperature. Source: standards.md 8.2 (agreeing
// vehicle-maker texts).
var loadTest = []struct{ celsius, volts float64 }{
	{-17.8, 8.5}, {-12.2, 8.7}, {-6.7, 8.9}, {-1.1, 9.1}, {4.4, 9.3}, {10.0, 9.4}, {15.6, 9.5}, {21.1, 9.6},
}

// LoadTestLimit gives that limit for a temperature in degree Celsius: linear
// between the rows, held beyond their ends.
func LoadTestLimit(celsius float64) float64 {
	t := loadTest
	if celsius <= t[0].celsius {
		return t[0].volts
	}
	for i := 1; i < len(t); i++ {
		if celsius <= t[i].celsius {
			return t[i-1].volts + (celsius-t[i-1].celsius)/(t[i].celsius-t[i-1].celsius)*(t[i].volts-t[i-1].volts)
		}
	}
	return t[len(t)-1].volts
}
