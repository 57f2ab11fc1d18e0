// Package intake turns the files of shop systems into repair records as a shop system's own program
// would send them: RecordJob's record in JSON. A format cuts a file into a Sheet of cells; what the
// cells mean, a mapping says, the same for all formats.
//
// It refuses to guess. A number with a thousands separator, a time that a clock shows twice, a word
// that nobody explained, a file that is no text: each is a fault with a sentence. Nothing is
// computed in floating point: a length becomes hundredths of a millimetre by whole numbers, rounded
// once and only where an inch or a degree Fahrenheit does not come out even.
package intake
