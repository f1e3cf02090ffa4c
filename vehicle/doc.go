// Package vehicle says what the vehicle is: engine layout, cylinders, banks,
// firing order, ignition and injection type, corners, and its VIN.
//
// Layout decides which suspects exist: a waste-spark engine has coil pairs, a
// boosted one has charge-air plumbing, a five-cylinder has a cylinder 5.
package vehicle
