// Package vin reads vehicle identification numbers: 49 CFR part 565 for North America, ISO 3779
// and ISO 3780 for the world.
//
// It cleans what was typed or scanned, checks the alphabet, the length and the check digit, reads
// the model year and names maker and model where an open table knows them. It offers the likely
// correction of a misread number and never applies it. It refuses to say that a number is
// verified: two numbers that differ in one letter can both pass, so passing says only that no
// fault was found.
package vin
