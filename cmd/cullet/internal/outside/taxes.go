package outside

import (
	"bytes"
	"crypto/sha256"
	"encoding/hex"
	"encoding/json"
	"errors"
	"fmt"
	"io/fs"
	"os"
	"path/filepath"
	"slices"
	"time"

	"cullet/services/errs"
	"cullet/services/tax"
)

// The forms of files with taxes.
const (
	Streamlined = "streamlined"
	PlainRates  = "rates"
	PlainLaws   = "taxability"
)

// maxTaxFile is the largest file with taxes that is read; a state's rate file has some megabytes.
const maxTaxFile = 32 << 20

// TaxFile is a file with taxes as it was imported. The file itself lies beside this, unchanged.
type TaxFile struct {
	Form string `json:"form"`
	// Citation says where it is from and Posted when it was posted; only of a Streamlined file, others
	// say it in every row.
	Citation string `json:"citation,omitempty"`
	Posted   string `json:"posted,omitempty"`
	SHA256   string `json:"sha256"`
	// Rows is how many facts it has.
	Rows int `json:"rows"`
}

// taxFolder is where imported files lie, in the state folder.
func taxFolder(state string) string { return filepath.Join(state, "tax") }

// Taxes is the book that a server works with: what is shipped, and over it what was imported, in its
// order. It fails when a file is no longer what was imported.
func Taxes(state string) (tax.Book, error) {
	book, _, err := imported(state)
	return book, err
}

func imported(state string) (tax.Book, []TaxFile, error) {
	book := tax.Shipped()
	names, err := filepath.Glob(filepath.Join(taxFolder(state), "*.json"))
	if err != nil {
		return book, nil, fmt.Errorf("list imported taxes: %w", err)
	}
	slices.Sort(names)
	var all []TaxFile
	for _, name := range names {
		about, content, err := readTaxFile(name)
		if err == nil {
			book, _, err = addTaxes(book, about, content)
		}
		if err != nil {
			return book, nil, fmt.Errorf("read imported taxes of %s: %w", filepath.Base(name), err)
		}
		all = append(all, about)
	}
	return book, all, nil
}

func readTaxFile(name string) (about TaxFile, content []byte, err error) {
	text, err := os.ReadFile(name)
	if err != nil {
		return about, nil, err
	}
	if err := json.Unmarshal(text, &about); err != nil {
		return about, nil, err
	}
	if content, err = os.ReadFile(name[:len(name)-len(".json")] + ".csv"); err != nil {
		return about, nil, err
	}
	if about.SHA256 != digest(content) {
		return about, nil, errors.New("the file is not what was imported; put the original back")
	}
	return about, content, nil
}

func digest(content []byte) string {
	sum := sha256.Sum256(content)
	return hex.EncodeToString(sum[:])
}

// addTaxes reads a file into a book, and says how many facts it had.
func addTaxes(book tax.Book, about TaxFile, content []byte) (tax.Book, int, error) {
	var rates []tax.RateRow
	var laws []tax.Taxability
	var err error
	switch about.Form {
	case Streamlined:
		rates, err = book.ReadStreamlined(bytes.NewReader(content), about.Citation, about.Posted)
	case PlainRates:
		rates, err = tax.ReadRates(bytes.NewReader(content))
	case PlainLaws:
		laws, err = tax.ReadTaxability(bytes.NewReader(content))
	default:
		err = errs.Newf(errs.Invalid, "TAX_FORM", "%q is no form of a file with taxes; allowed are %s, %s, %s", about.Form, Streamlined, PlainRates, PlainLaws)
	}
	if err != nil {
		return book, 0, err
	}
	if len(rates)+len(laws) == 0 {
		return book, 0, errs.Newf(errs.Invalid, "TAX_FILE", "the file has no row")
	}
	book, err = book.With(rates, laws)
	return book, len(rates) + len(laws), err
}

// ImportTaxes adds a file to what a server will work with from its next start on. The file is read whole
// first; with any fault nothing is kept. The same file again changes nothing: isKnown says so. With
// isCheck nothing is kept at all.
func ImportTaxes(state, file string, about TaxFile, isCheck bool) (done TaxFile, isKnown bool, err error) {
	if about.Form == Streamlined {
		if _, err := time.Parse(time.DateOnly, about.Posted); err != nil || about.Citation == "" {
			return about, false, errs.Newf(errs.Invalid, "TAX_SOURCE", "a Streamlined file does not say where it is from: give its name as citation, and the day on which it was posted, 2026-09-01")
		}
	}
	content, err := readAtMost(file)
	if err != nil {
		return about, false, err
	}
	about.SHA256 = digest(content)
	book, before, err := imported(state)
	if err != nil {
		return about, false, err
	}
	for _, old := range before {
		if old.SHA256 == about.SHA256 && old.Form == about.Form {
			return old, true, nil
		}
	}
	if _, about.Rows, err = addTaxes(book, about, content); err != nil || isCheck {
		return about, false, err
	}
	return about, false, keepTaxes(state, len(before)+1, about, content)
}

func readAtMost(file string) ([]byte, error) {
	info, err := os.Stat(file)
	if err != nil {
		return nil, fmt.Errorf("read the taxes: %w", err)
	}
	if info.Size() > maxTaxFile {
		return nil, errs.Newf(errs.Invalid, "TAX_FILE", "the file has %d bytes; at most %d are read", info.Size(), maxTaxFile)
	}
	return os.ReadFile(file)
}

// keepTaxes writes the file, and then what says that it counts.
func keepTaxes(state string, number int, about TaxFile, content []byte) error {
	if err := os.MkdirAll(taxFolder(state), 0o700); err != nil {
		return fmt.Errorf("keep the taxes: %w", err)
	}
	text, err := json.MarshalIndent(about, "", "  ")
	if err != nil {
		return fmt.Errorf("keep the taxes: %w", err)
	}
	base := filepath.Join(taxFolder(state), fmt.Sprintf("%04d", number))
	for _, part := range []struct {
		name    string
		content []byte
	}{{base + ".csv", content}, {base + ".json", append(text, '\n')}} {
		if _, err := os.Stat(part.name); part.name[len(part.name)-5:] == ".json" && !errors.Is(err, fs.ErrNotExist) {
			return fmt.Errorf("keep the taxes: %s is there already", filepath.Base(part.name))
		}
		if err := os.WriteFile(part.name+".new", part.content, 0o600); err != nil {
			return fmt.Errorf("keep the taxes: %w", err)
		}
		if err := os.Rename(part.name+".new", part.name); err != nil {
			return fmt.Errorf("keep the taxes: %w", err)
		}
	}
	return nil
}
