package measure

import (
	"math"
	"strings"

	"proveout/evidence"
	"proveout/stats"
)

const airGas = 287.05 // J/(kg K), dry air (ISO 2533)

// mostUnboosted is the volumetric efficiency in percent that no engine without
// boost exceeds (our choice; tuned intakes reach 110, from memory).
const mostUnboosted = 120

// leastFilled is what no engine that pulls falls below (our choice).
const leastFilled = 20

// air reads volumetric efficiency at wide throttle from airflow, speed and
// displacement of a four-stroke:
//
//	VE = mdot / (rho V n/120),  rho = p/(R T)
//
// p is manifold pressure where it is logged (so that boost does not count as
// efficiency), else barometric pressure, else 101.325 kPa; T intake air. Wide
// throttle is the Load window; the median of its upper half by speed is taken.
// Uncertainty: 5 % for airflow, pressure and temperature together (our choice)
// and the scatter.
func (l *logView) air(res *Result) {
	maf, rpm := l.get(Airflow), l.get(EngineSpeed)
	if maf == nil || rpm == nil || !l.petrol() {
		return
	}
	const feature = "air.volumetric_efficiency"
	v := l.meta.Engine.DisplacementL * 1e-3
	if v <= 0 {
		l.refuse(res, feature, evidence.WholeEngine, "", "the engine's displacement is not given", "write displacement in the job's engine")
		return
	}
	pressure, baro, temp := l.col(ManifoldPress), l.col(Barometer), l.col(IntakeAir)
	m, n := l.g.v[maf], l.g.v[rpm]
	var x []float64
	var rows []int
	for _, i := range l.steps(evidence.Load) {
		if math.IsNaN(m[i]) || !(n[i] > 1500) {
			continue
		}
		p := at(pressure, i)
		if math.IsNaN(p) || p <= 0 {
			p = at(baro, i)
		}
		if math.IsNaN(p) || p <= 0 {
			p = 101325
		}
		t := at(temp, i)
		if math.IsNaN(t) {
			t = 25
		}
		x = append(x, 100*m[i]/(p/(airGas*(t+273.15))*v*n[i]/120))
		rows = append(rows, i)
	}
	if l.seconds(len(x)) < 3 || len(x) < 3 {
		l.refuse(res, feature, evidence.WholeEngine, evidence.TooFewEvents, "the log holds no pull of some seconds at wide throttle", "log a wide-open pull in second gear up to at least 4000 rpm")
		return
	}
	ve := stats.Quantile(x, 0.75)
	sd := math.Hypot(0.05*ve, spreadOf(x)/math.Sqrt(math.Max(1, l.seconds(len(x))/2)))
	var flags []evidence.Flag
	if ve < leastFilled {
		flags = append(flags, evidence.ScaleUnsure)
		l.note(res, evidence.ScaleUnsure, true, maf, "%s: the engine would fill its cylinders to %.2g %% at wide throttle: no engine pulls so; a unit or scale of airflow, pressure or displacement is wrong", strings.TrimSpace(maf.Name), ve)
	}
	if !l.meta.Engine.Boosted && ve > mostUnboosted {
		flags = append(flags, evidence.ScaleUnsure)
		l.note(res, evidence.ScaleUnsure, true, maf, "%s: the engine would fill its cylinders to %.0f %% without a boost: airflow, engine speed or displacement is wrong", strings.TrimSpace(maf.Name), ve)
	}
	l.emit(res, feature, evidence.WholeEngine, "%", ve, sd, len(x), evidence.Load, rows, flags, maf, rpm)
}
