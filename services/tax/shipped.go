package tax

import (
	"embed"
	"fmt"
	"io"
	"sync"
)

// The files that come with the program. Every row has its source and how well it is known.
//
//go:embed rates/*.csv
var rateFiles embed.FS

// Shipped returns the book that comes with the program, read once.
func Shipped() Book { return shipped() }

var shipped = sync.OnceValue(func() Book {
	var book Book
	for _, region := range []string{"us", "ca", "vat"} {
		book = mustWith(book, region)
	}
	return book
})

// mustWith panics on a bad shipped file, for that is a bug of ours that the first test meets.
func mustWith(book Book, region string) Book {
	rates, err := readEmbedded(region+"_rates.csv", ReadRates)
	if err != nil {
		panic(err)
	}
	laws, err := readEmbedded(region+"_taxability.csv", ReadTaxability)
	if err != nil {
		panic(err)
	}
	book, err = book.With(rates, laws)
	if err != nil {
		panic(err)
	}
	return book
}

func readEmbedded[T any](name string, read func(io.Reader) ([]T, error)) ([]T, error) {
	file, err := rateFiles.Open("rates/" + name)
	if err != nil {
		return nil, fmt.Errorf("open %s: %w", name, err)
	}
	defer func() { _ = file.Close() }()
	rows, err := read(file)
	if err != nil {
		return nil, fmt.Errorf("read %s: %w", name, err)
	}
	return rows, nil
}
