package obd

import (
	"fmt"
	"math"
	"slices"
	"strconv"
	"strings"
	"testing"

	"proveout/obd/canlog"
	"proveout/obd/isotp"
	"proveout/published"
)

// answerSignal maps a name of the recorded answers to ours. scale is the
// recorded unit in units of ours.
type answerSignal struct {
	id    string
	scale float64
}

var answerSignals = map[string]answerSignal{
	"LOAD_PCT": {"calculated_load", 1}, "ECT": {"coolant_temperature", 1}, "SHRTFT1": {"short_trim_bank1", 1}, "LONGFT1": {"long_trim_bank1", 1},
	"SHRTFT2": {"short_trim_bank2", 1}, "LONGFT2": {"long_trim_bank2", 1}, "FP": {"fuel_pressure", 1}, "MAP": {"manifold_pressure", 1},
	"RPM": {"engine_speed", 1}, "VSS": {"vehicle_speed", 1}, "SPARKADV": {"ignition_advance", 1}, "IAT": {"intake_air_temperature", 1},
	"MAF": {"air_flow", 1}, "TP": {"throttle_position", 1}, "O2S11": {"o2_1_voltage", 1}, "O2S12": {"o2_2_voltage", 1}, "O2S21": {"o2_5_voltage", 1}, "O2S22": {"o2_6_voltage", 1},
	"RUNTM": {"run_time", 1}, "MIL_DIST": {"distance_mil_on", 1}, "FRP": {"rail_pressure_gauge", 1}, "LAMBDA11_VOLT": {"o2_1_lambda_v", 1}, "O2S11_VOLT": {"o2_1_wide_voltage", 1},
	"EVAP_PCT": {"purge_commanded", 1}, "FLI": {"fuel_level", 1}, "WARM_UPS": {"warm_ups_since_clear", 1}, "CLR_DIST": {"distance_since_clear", 1},
	"EVAP_VP": {"evap_pressure", 1000}, "BARO": {"barometric_pressure", 1}, "LAMBDA11_CURRENT": {"o2_1_lambda_i", 1}, "O2S11_CURRENT": {"o2_1_current", 1},
	"CATEMP11": {"catalyst_temperature_b1s1", 1}, "CATEMP21": {"catalyst_temperature_b2s1", 1}, "CATEMP12": {"catalyst_temperature_b1s2", 1},
	"VPWR": {"module_voltage", 1}, "LOAD_ABS": {"absolute_load", 1}, "EQ_RAT": {"lambda_commanded", 1}, "TP_R": {"throttle_relative", 1}, "AAT": {"ambient_temperature", 1},
	"TP_B": {"throttle_position_b", 1}, "APP_D": {"pedal_position_d", 1}, "APP_E": {"pedal_position_e", 1}, "TAC_PCT": {"throttle_commanded", 1},
	"MIL_TIME": {"run_time_mil_on", 1}, "CLR_TIME": {"run_time_since_clear", 1}, "ALCH_PCT": {"ethanol", 1}, "EVAP_VPA": {"evap_pressure_absolute", 1}, "EVAP_VP_WIDE": {"evap_pressure_wide", 1000},
	"LGSO2FT1": {"long_trim_second_bank1", 1}, "LGSO2FT2": {"long_trim_second_bank2", 1}, "BAT_SOC": {"hybrid_battery", 1}, "EOT": {"oil_temperature", 1}, "FUEL_RATE": {"fuel_rate", 1},
	"TQ_DD": {"torque_demand", 1}, "TQ_ACT": {"torque_actual", 1}, "TQ_REF": {"torque_reference", 1}, "TQ_FR": {"torque_friction", 1},
	"GEAR_RCMD": {"gear_recommended", 1}, "GPL_STAT": {"glow_plug_lamp", 1}, "PTO_STAT_AUX": {"pto_status", 1},
	"ECT_1": {"coolant_temperature_1", 1}, "ECT_2": {"coolant_temperature_2", 1},
	"IAT_11": {"intake_air_temperature_11", 1}, "IAT_12": {"intake_air_temperature_12", 1}, "IAT_13": {"intake_air_temperature_13", 1},
	"IAT_21": {"intake_air_temperature_21", 1}, "IAT_22": {"intake_air_temperature_22", 1}, "IAT_23": {"intake_air_temperature_23", 1},
	"EGR_A_CMD": {"egr_a_commanded", 1}, "EGR_A_ACT": {"egr_a_actual", 1}, "EGR_A_ERR": {"egr_a_error", 1}, "EGR_B_CMD": {"egr_b_commanded", 1}, "EGR_B_ACT": {"egr_b_actual", 1}, "EGR_B_ERR": {"egr_b_error", 1},
	"EGRTA": {"egr_temperature_11", 1}, "EGRTC": {"egr_temperature_12", 1}, "EGRTB": {"egr_temperature_21", 1}, "EGRTD": {"egr_temperature_22", 1},
	"TAC_A_CMD": {"throttle_a_commanded", 1}, "TP_A_REL": {"throttle_a_relative", 1}, "TAC_B_CMD": {"throttle_b_commanded", 1}, "TP_B_REL": {"throttle_b_relative", 1},
	"FRP_A_CMD": {"rail_a_pressure_commanded", 1}, "FRP_A": {"rail_a_pressure", 1}, "FRT_A": {"rail_a_temperature", 1}, "FRP_B_CMD": {"rail_b_pressure_commanded", 1}, "FRP_B": {"rail_b_pressure", 1}, "FRT_B": {"rail_b_temperature", 1},
	"BP_A_CMD": {"boost_a_commanded", 1}, "BP_A_ACT": {"boost_a_pressure", 1}, "BP_B_CMD": {"boost_b_commanded", 1}, "BP_B_ACT": {"boost_b_pressure", 1},
	"WG_A_CMD": {"wastegate_a_commanded", 1}, "WG_A_ACT": {"wastegate_a_position", 1}, "WG_B_CMD": {"wastegate_b_commanded", 1}, "WG_B_ACT": {"wastegate_b_position", 1},
	"RUN_TIME": {"total_run_time", 1}, "IDLE_TIME": {"total_idle_time", 1}, "PTO_TIME": {"total_pto_time", 1},
	"HEV_BATT_V": {"hybrid_battery_voltage", 1}, "HEV_BATT_A": {"hybrid_battery_current", 1}, "FUEL_RATE_ALT": {"fuel_rate_engine", 1}, "VFUEL_RATE": {"fuel_rate_vehicle", 1},
	"EXH_RATE": {"exhaust_flow", 1}, "FUELSYSA_B1": {"fuel_system_a_use_bank1", 1}, "FUELSYSB_B1": {"fuel_system_b_use_bank1", 1}, "FUELSYSA_B2": {"fuel_system_a_use_bank2", 1}, "FUELSYSB_B2": {"fuel_system_b_use_bank2", 1},
	"FUELSYSA_B3": {"fuel_system_a_use_bank3", 1}, "FUELSYSB_B3": {"fuel_system_b_use_bank3", 1}, "FUELSYSA_B4": {"fuel_system_a_use_bank4", 1}, "FUELSYSB_B4": {"fuel_system_b_use_bank4", 1},
	"CYL_RATE": {"cylinder_fuel", 1}, "ODO": {"odometer", 1},
	"FUEL_TIMING": {"injection_timing", 1}, "SHRTFT11": {"o2_1_trim", 1}, "SHRTFT12": {"o2_2_trim", 1}, "SHRTFT21": {"o2_5_trim", 1}, "SHRTFT22": {"o2_6_trim", 1},
}

// answerFlags are support bits under a name that is not our id plus _SUP.
var answerFlags = map[string]string{
	"GEAR_SUP": "gear_recommended", "GPL_SUP": "glow_plug_lamp", "PTO_SUP": "pto_status", "CTAC_A_SUP": "throttle_a_commanded", "RTP_A_SUP": "throttle_a_relative",
	"CTAC_B_SUP": "throttle_b_commanded", "RTP_B_SUP": "throttle_b_relative", "EGRTA_WR_SUP": "egr_temperature_wide_11", "EGRTC_WR_SUP": "egr_temperature_wide_12",
	"EGRTB_WR_SUP": "egr_temperature_wide_21", "EGRTD_WR_SUP": "egr_temperature_wide_22", "BP_A_SUP": "boost_a_status", "BP_B_SUP": "boost_b_status",
	"HEV_MODE_SUP": "hybrid_mode", "EHEV_MODE_SUP": "hybrid_mode_enhanced",
}

// answerNames are names of enumerated values, with the start of our text.
var answerNames = map[string]struct{ id, texts string }{
	"FUELSYS1":  {"fuel_system_1", "OFF=no information|CL=closed loop using|OL-Drive=open loop due to load|CL-Fault=closed loop with"},
	"FUELSYS2":  {"fuel_system_2", "OFF=no information|CL=closed loop using|OL-Drive=open loop due to load|CL-Fault=closed loop with"},
	"OBDSUP":    {"obd_requirement", "OBD II=OBD II (CARB)|OBD=OBD (EPA)|OBD & OBD II=OBD and OBD II|EOBD=EOBD|JOBD & OBD II=JOBD and OBD II"},
	"FUEL_TYP":  {"fuel_type", "GAS=gasoline|DSL=diesel"},
	"BP_A":      {"boost_a_status", "BP_A_OL=open loop"},
	"HEV_MODE":  {"hybrid_mode", "CSM=charge sustaining"},
	"EHEV_MODE": {"hybrid_mode_enhanced", "CSM=charge sustaining"},
}

// monitorOrder are the recorded names in bit order, with ours for spark ignition.
var monitorOrder = [][2]string{{"MIS", "misfire"}, {"FUEL", "fuel"}, {"CCM", "components"}, {"CAT", "catalyst"}, {"HCAT", "heated catalyst"}, {"EVAP", "evaporative system"},
	{"AIR", "secondary air"}, {"ACRF", "reserved (formerly A/C refrigerant; newer: gasoline particulate filter)"}, {"O2S", "oxygen sensor"}, {"HTR", "oxygen sensor heater"}, {"EGR", "EGR and/or VVT"}}

// disagreement is why recorded values of one signal differ from ours. as gives
// the value the recording's own rule makes of the bytes: every row that differs
// must come out by it, so nothing else hides behind the explanation.
type disagreement struct {
	rows int
	why  string
	as   func(d []byte) float64
}

func word(d []byte, at int) float64 { return float64(int(d[at])<<8 | int(d[at+1])) }

// disagreements are all rows of the recorded answers that we decode otherwise.
var disagreements = map[string]disagreement{
	"EQ_RAT": {100, "the recording divides by 65535 where the standard's step is 2/65536 (below 0.00003), and cuts off at 1.99 (one row)",
		func(d []byte) float64 { return min(word(d, 0)*2/65535, 1.99) }},
	"O2S11_VOLT": {14, "the recording's step, fitted to its rows, is 7.9961 V over 65536 for the standard's 8 V (trap: full-scale rounding); below 3 mV",
		func(d []byte) float64 { return word(d, 2) * 7.9961 / 65536 }},
	"LAMBDA11_CURRENT": {25, "the recording cuts lambda off at 1.99; the bytes say up to 1.99997",
		func(d []byte) float64 { return min(word(d, 0)*2/65536, 1.99) }},
	"FUEL_TIMING": {7, "the recording gives the lower end of the range, -210 degrees, for every answer; raw/128-210 gives about 0",
		func(d []byte) float64 { return -210 }},
	"SHRTFT11": {15, "the recording takes 128 off where (B-128)*100/128 takes 100 off; at B=FF (not used) too",
		func(d []byte) float64 { return float64(d[1])*100/128 - 128 }},
	"SHRTFT21": {2, "as SHRTFT11", func(d []byte) float64 { return float64(d[1])*100/128 - 128 }},
	"SHRTFT22": {5, "as SHRTFT11", func(d []byte) float64 { return float64(d[1])*100/128 - 128 }},
}

// answered puts a recorded answer through the whole path and gives the message
// of the module that answered last, the data of the parameter asked for, and
// the session.
func answered(t *testing.T, request, response string) (data []byte, mod *Module) {
	t.Helper()
	text := ">" + request + "\n" + strings.ReplaceAll(response, "|", "\n") + "\n"
	l, err := canlog.ReadAll(strings.NewReader(text), canlog.Options{})
	if err != nil || len(l.Notes) != 0 {
		t.Fatalf("%s: %v %v", response, err, l.Notes)
	}
	frames := isotp.New(isotp.Options{})
	address := ""
	for i := range l.Records {
		m, ok := frames.Add(&l.Records[i])
		if !ok || m.Data[0] != 0x41 {
			continue // the request; a few rows hold an answer of another service beside
		}
		pieces, _ := split(nil, m.Data[1:], 1, unhex(t, request)[1:])
		for _, p := range pieces {
			if p.pid == mustByte(request[2:]) {
				data = p.data
				address = fmt.Sprintf("%03X", m.ID)
				if m.Extended {
					address = fmt.Sprintf("%08X", m.ID)
				}
			}
		}
	}
	frames.Flush()
	for _, n := range frames.Notes() {
		if !strings.Contains(n.Text, "no first frame") { // some recordings begin inside another transfer
			t.Fatalf("%s: %v", response, n)
		}
	}
	return data, Read(l).Module(address)
}

func flag(b bool) string {
	if b {
		return "1"
	}
	return "0"
}

// decodedAs gives our value of a recorded signal as the recording writes it.
func decodedAs(t *testing.T, pid byte, name string, data []byte, mod *Module) (text string, number float64, isNumber bool) {
	t.Helper()
	if r := mod.LatestReadiness(pid); pid == 0x01 || pid == 0x41 {
		switch name {
		case "MIL":
			return flag(r.MIL), 0, false
		case "DTC_CNT":
			return "", float64(r.CodeCount), true
		case "CIM_SUP", "CIM_SUP_FLAG":
			return map[bool]string{false: "SPARK", true: "COMPRESSION"}[r.Compression], 0, false
		}
		for i, pair := range monitorOrder {
			rest, ok := strings.CutPrefix(name, pair[0])
			rest = strings.Trim(rest, "_")
			if !ok || rest != "RDY" && rest != "SUP" && rest != "CMPL" && rest != "ENA" {
				continue
			}
			// The recording keeps the spark names for compression engines too: there
			// only the bit is compared.
			m := r.Monitors[i]
			if !r.Compression && m.Name != pair[1] {
				t.Fatalf("monitor %d is %s", i, m.Name)
			}
			if rest == "SUP" || rest == "ENA" {
				return flag(m.Supported), 0, false
			}
			return flag(!m.Complete), 0, false // the recording keeps the raw bit
		}
		t.Fatalf("readiness %s is not mapped", name)
	}
	if s, ok := strings.CutSuffix(name, "_EXISTS"); ok {
		return flag(slices.Contains(mod.Sensors, Sensor{int(s[3] - '0'), int(s[4] - '0')})), 0, false
	}
	id, scale, wantFlag := answerFlags[name], 1.0, true
	if id == "" {
		if base, ok := strings.CutSuffix(name, "_SUP"); ok {
			id = answerSignals[base].id
		} else {
			wantFlag = false
			id, scale = answerSignals[name].id, answerSignals[name].scale
			if names, ok := answerNames[name]; ok {
				id = names.id
			}
			if n := sensorNumber(pid); strings.HasPrefix(name, "SHRTFT") && n > 0 {
				id = fmt.Sprintf("o2_%d_trim", n) // the recording names PID 15 like PID 14
			}
		}
	}
	for _, v := range DecodePID(pid, data) {
		if v.Signal.ID != id {
			continue
		}
		if wantFlag {
			return flag(!v.NotUsed), 0, false
		}
		// What the decoder gives must also stand in the session, unless not used.
		s := mod.Series(id)
		if v.NotUsed != (s == nil) || s != nil && s.Samples[len(s.Samples)-1].Value != v.SI() {
			t.Fatalf("%s: session and decoder differ: %+v %+v", name, s, v)
		}
		if names, ok := answerNames[name]; ok {
			for pair := range strings.SplitSeq(names.texts, "|") {
				if short, long, _ := strings.Cut(pair, "="); v.Text == long || strings.HasPrefix(v.Text, long) && name != "OBDSUP" {
					return short, 0, false
				}
			}
			return v.Text, 0, false
		}
		return "", v.Number / scale, true
	}
	t.Fatalf("PID %02X %s: not decoded (our id %q)", pid, name, id)
	return
}

// All 6,200 rows of the recorded answers (testdata/vehicle-answers), through the
// whole path from text to session. With several modules the expected value is
// that of the module that answered last.
func TestVehicleAnswers(t *testing.T) {
	all := published.Rows(t, "vehicle-answers/answers.csv", 6200)
	if len(all) != 6200 {
		t.Fatalf("%d rows, want 6200", len(all))
	}
	differ := map[string]int{}
	agree := 0
	for _, r := range all {
		request, response, name, want := r[0], r[1], r[2], r[3]
		data, mod := answered(t, request, response)
		if mod == nil || len(data) == 0 {
			t.Fatalf("%v: nothing decoded", r)
		}
		text, number, isNumber := decodedAs(t, mustByte(request[2:]), name, data, mod)
		ok := text == want
		if isNumber {
			w, err := strconv.ParseFloat(want, 64)
			// The recording rounds to five decimals.
			ok = err == nil && math.Abs(number-w) <= 6e-6
			d, explained := disagreements[name]
			if !ok && explained && err == nil && math.Abs(d.as(data)-w) <= 1e-5 {
				differ[name]++
				continue
			}
			text = strconv.FormatFloat(number, 'g', 8, 64)
		}
		if ok {
			agree++
			continue
		}
		t.Errorf("%s %s: %s = %s, recorded %s", request, response, name, text, want)
	}
	for name, d := range disagreements {
		if differ[name] != d.rows {
			t.Errorf("%s: %d rows differ, %d are explained: %s", name, differ[name], d.rows, d.why)
		}
	}
	t.Logf("%d rows agree, %v differ as explained", agree, differ)
}
