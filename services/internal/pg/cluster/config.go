package cluster

import (
	"errors"
	"fmt"
	"os"
	"path/filepath"

	"cullet/services/errs"
)

// The reasons of the errors that a user can mend.
const (
	// ReasonNoPostgres: no usable binaries; the message says what to install.
	ReasonNoPostgres = "NO_POSTGRES"
	// ReasonInUse: another program runs the cluster of this folder.
	ReasonInUse = "CLUSTER_IN_USE"
	// ReasonFolder: the user as whom PostgreSQL runs cannot enter the folder.
	ReasonFolder = "FOLDER_NOT_ENTERABLE"
)

// Config says where the cluster lives and where its binaries may come from.
type Config struct {
	// Folder keeps the data, the fetched binaries, the secrets and the log.
	Folder string
	// BinDir is the folder with postgres and initdb; nothing else is tried when it is set.
	BinDir string
	// Archive is a .tar.gz with the binaries, as a path or an http(s) URL, used before anything
	// installed. "#sha512-<base64>" at its end pins its content.
	Archive string
	// Path is searched for pg_config, postgres and npm, in the form of $PATH.
	Path string
	// Globs are folders where installers put binaries; the known ones when nil.
	Globs []string
	// NoFetch forbids to fetch binaries with npm.
	NoFetch bool
	// Throwaway trades safety for speed: nothing is synced to disk, so a power cut may lose it,
	// a kill does not. For tests.
	Throwaway bool
	// Settings are further PostgreSQL settings, by name.
	Settings map[string]string
	// Report hears what is being done; it must not block. May be nil.
	Report func(Event)
}

// Event tells a person what the cluster is doing.
type Event struct {
	Stage Stage
	// Detail is the end of the sentence that Stage begins; often a path or a version.
	Detail string
}

// Stage is a step of the cluster's life.
type Stage string

// The stages, in the usual order.
const (
	Finding     Stage = "finding PostgreSQL"
	Downloading Stage = "downloading PostgreSQL"
	Unpacking   Stage = "unpacking PostgreSQL"
	MakingData  Stage = "making the database cluster"
	CleaningUp  Stage = "cleaning up after a killed predecessor"
	Starting    Stage = "starting PostgreSQL"
	Ready       Stage = "PostgreSQL is ready"
	Restarting  Stage = "PostgreSQL died and is started again"
	Stopping    Stage = "stopping PostgreSQL"
)

// FromEnvironment is the configuration of a folder in the state folder with what the user's
// environment says: CULLET_PG_BIN, CULLET_PG_ARCHIVE, PATH.
func FromEnvironment(state string) Config {
	return Config{
		Folder:  filepath.Join(state, "postgres"),
		BinDir:  os.Getenv("CULLET_PG_BIN"),
		Archive: os.Getenv("CULLET_PG_ARCHIVE"),
		Path:    os.Getenv("PATH"),
	}
}

// StateFolder is where the program keeps its state when the user names no other place:
// /var/lib/cullet for root, because others cannot enter root's home; else
// $XDG_STATE_HOME/cullet or ~/.local/state/cullet.
func StateFolder() (string, error) {
	if os.Geteuid() == 0 {
		return "/var/lib/cullet", nil
	}
	if base := os.Getenv("XDG_STATE_HOME"); filepath.IsAbs(base) {
		return filepath.Join(base, "cullet"), nil
	}
	home, err := os.UserHomeDir()
	if err != nil {
		return "", fmt.Errorf("find the state folder: %w", err)
	}
	return filepath.Join(home, ".local", "state", "cullet"), nil
}

// IsNoPostgres tells whether err says that there are no usable binaries.
func IsNoPostgres(err error) bool { return hasReason(err, ReasonNoPostgres) }

// IsInUse tells whether err says that another program runs the cluster.
func IsInUse(err error) bool { return hasReason(err, ReasonInUse) }

func hasReason(err error, reason string) bool {
	var known *errs.Error
	return errors.As(err, &known) && known.Reason == reason
}

func (c *Config) report(stage Stage, format string, args ...any) {
	if c.Report != nil {
		c.Report(Event{Stage: stage, Detail: fmt.Sprintf(format, args...)})
	}
}
