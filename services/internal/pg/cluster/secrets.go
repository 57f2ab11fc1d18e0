package cluster

import (
	"crypto/rand"
	"encoding/hex"
	"encoding/json"
	"errors"
	"fmt"
	"io/fs"
	"os"
	"path/filepath"
	"strings"
)

// The roles of a private cluster. Owner owns the databases and migrates them; runtime owns
// nothing and is bound by row-level security; admin makes the two.
const (
	adminRole   = "cullet_admin"
	ownerRole   = "cullet_owner"
	runtimeRole = "cullet_runtime"
)

// secrets are the passwords of the roles.
type secrets struct {
	Admin   string `json:"admin"`
	Owner   string `json:"owner"`
	Runtime string `json:"runtime"`
	// fresh: just made, so a cluster that is there already does not know them.
	fresh bool
}

// loadSecrets reads the folder's secrets, or makes them.
func loadSecrets(folder string) (secrets, error) {
	path := filepath.Join(folder, "secrets.json")
	text, err := os.ReadFile(path)
	if errors.Is(err, fs.ErrNotExist) {
		return makeSecrets(path)
	}
	if err != nil {
		return secrets{}, err
	}
	var known secrets
	err = json.Unmarshal(text, &known)
	if err != nil || known.Admin == "" || known.Owner == "" || known.Runtime == "" {
		return secrets{}, fmt.Errorf("%s is broken (%v): remove it, then new passwords are made",
			path, err)
	}
	return known, nil
}

func makeSecrets(path string) (secrets, error) {
	made := secrets{Admin: password(), Owner: password(), Runtime: password(), fresh: true}
	text, err := json.Marshal(made)
	if err != nil {
		return secrets{}, err
	}
	part := path + ".part"
	if err := os.WriteFile(part, text, 0o600); err != nil {
		return secrets{}, err
	}
	return made, os.Rename(part, path)
}

func password() string {
	random := make([]byte, 24)
	rand.Read(random) // never fails: crypto/rand ends the program instead
	return hex.EncodeToString(random)
}

// dsn writes a connection string in key=value form.
func dsn(socketFolder, role, secret, database string) string {
	quote := func(value string) string {
		return "'" + strings.NewReplacer(`\`, `\\`, `'`, `\'`).Replace(value) + "'"
	}
	return fmt.Sprintf("host=%s port=5432 user=%s password=%s dbname=%s sslmode=disable",
		quote(socketFolder), role, secret, quote(database))
}
