// Package sim is the physics of engines for examples, practice vehicles and
// evaluation: coils, sparks, pickups, fuel, air, compression, misfires, and the
// files and answers an instrument would give.
//
// It shares no constant with the fault books. Every number here is physics,
// a stated engineering value ("from memory") or a figure of a published table;
// none is a chance or a likelihood of a book. Conclusions drawn from its files
// therefore say something about the books and the measurements.
//
// The package is pure: randomness comes in as a *rand.Rand, files come out as
// bytes. Three layers:
//
//   - one spark: [Coil], [Breakdown], [Secondary.Fire];
//   - one instrument: [Pickup.Record] and the writers for CSV, WAV, candump lines;
//   - one vehicle with a hidden fault: [Draw], [Vehicle.Secondary], [Vehicle.Ask].
package sim
