// Package obd decodes diagnostic messages: services 01, 02, 03, 04, 06, 07, 09
// and 0A of SAE J1979 / ISO 15031-5 on CAN, and the services of ISO 14229-1
// that read and clear trouble codes (19 02, 14).
//
// It is pure: bytes in, values out. What it knows stands in tables/, embedded as
// data with a source in every row and read when first needed.
//
// Read turns the records of a capture (package canlog) into a Session: for each
// module its parameters over time, codes by kind, freeze frames, monitor
// results, readiness, vehicle information and refusals. Every value says which
// record and line it came from. What is not known is kept raw, never dropped and
// never guessed.
//
//	log, _ := canlog.ReadAll(file, canlog.Options{})
//	s := obd.Read(log)
//	for _, m := range s.Modules {
//		rpm := m.Series("engine_speed")   // SI values with times
//		codes := m.Latest(obd.Confirmed)  // the list last read
//	}
//	for _, c := range s.Clears {
//		fmt.Println(c.Sentence())         // what a clear destroyed, and whether it was saved first
//	}
package obd
