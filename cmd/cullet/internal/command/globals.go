package command

import (
	"encoding/json"
	"fmt"
	"os"
	"path/filepath"
	"strings"

	"golang.org/x/term"
	"google.golang.org/protobuf/encoding/protojson"
	"google.golang.org/protobuf/proto"

	"cullet/cmd/cullet/internal/outside"
	"cullet/services/client"
)

// Globals are the flags of every verb.
type Globals struct {
	Server string `help:"Address of the server's gRPC port." default:"127.0.0.1:9440" env:"CULLET_SERVER"`
	Key    string `help:"Key to call with; the owner's key in the state folder when empty." env:"CULLET_KEY"`
	State  string `help:"State folder: the private PostgreSQL, keys, photos." env:"CULLET_STATE" type:"path"`
	JSON   bool   `help:"Write JSON instead of tables." name:"json"`
	// RequestID makes a verb that is run twice by accident have one effect.
	RequestID string `help:"Make a change safe to run twice: the same id has one effect." name:"request-id"`
}

func (g Globals) stateFolder() (string, error) {
	if g.State != "" {
		return g.State, nil
	}
	return outside.StateFolder()
}

// dial makes a client with the caller's key.
func (w *world) dial() (*client.Client, error) {
	key := w.globals.Key
	if key == "" {
		state, err := w.globals.stateFolder()
		if err != nil {
			return nil, err
		}
		text, err := os.ReadFile(filepath.Join(state, outside.KeyFile))
		if err != nil {
			return nil, &failure{exitUsage, fmt.Errorf("there is no key: give --key or CULLET_KEY (%w)", err)}
		}
		key = strings.TrimSpace(string(text))
	}
	return client.Dial(w, client.Config{Address: w.globals.Server, Key: key})
}

// printJSON writes a message as JSON.
func (w *world) printJSON(m proto.Message) error {
	text, err := protojson.MarshalOptions{Multiline: true, Indent: "  ", UseProtoNames: true}.Marshal(m)
	if err != nil {
		return fmt.Errorf("write JSON: %w", err)
	}
	// protojson varies its spaces on purpose; scripts want the same bytes each time.
	var steady any
	if err := json.Unmarshal(text, &steady); err != nil {
		return fmt.Errorf("write JSON: %w", err)
	}
	encoder := json.NewEncoder(w.out)
	encoder.SetIndent("", "  ")
	return encoder.Encode(steady)
}

// isTerminal tells whether a person is looking.
func (w *world) isTerminal() bool {
	file, ok := w.out.(*os.File)
	return ok && term.IsTerminal(int(file.Fd()))
}
