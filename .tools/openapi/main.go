// Command openapi joins the OpenAPI documents that the generator writes, one per .proto file, into
// the one document that the server publishes.
//
// It refuses what would make the joined document lie: two parts that describe the same schema or
// the same path differently, and a part of another OpenAPI version.
package main

import (
	"bytes"
	"encoding/json"
	"errors"
	"flag"
	"fmt"
	"io/fs"
	"os"
	"path/filepath"
	"reflect"
	"slices"
	"strings"
)

type document struct {
	OpenAPI    string                    `json:"openapi"`
	Info       map[string]string         `json:"info"`
	Security   []map[string][]string     `json:"security,omitempty"`
	Tags       []map[string]any          `json:"tags"`
	Paths      map[string]map[string]any `json:"paths"`
	Components map[string]map[string]any `json:"components"`
}

func main() {
	parts := flag.String("parts", "", "folder with the parts (*.openapi.json)")
	out := flag.String("out", "", "file to write")
	flag.Parse()
	if err := run(*parts, *out); err != nil {
		fmt.Fprintln(os.Stderr, "openapi:", err)
		os.Exit(1)
	}
}

func run(parts, out string) error {
	whole := newDocument()
	found := 0
	err := filepath.WalkDir(parts, func(path string, entry fs.DirEntry, err error) error {
		if err != nil || !strings.HasSuffix(path, ".openapi.json") {
			return err
		}
		found++
		return whole.addFile(path)
	})
	if err != nil {
		return err
	}
	if found == 0 {
		return fmt.Errorf("no *.openapi.json under %q: generate the parts first", parts)
	}
	return whole.write(out)
}

func newDocument() *document {
	return &document{
		OpenAPI: "3.1.0",
		Info: map[string]string{
			"title":   "Cullet",
			"version": "v1",
			"description": "JSON over HTTP for the same services that gRPC serves. " +
				"Photos are uploaded by gRPC streaming only.",
		},
		Security: []map[string][]string{{"key": {}}},
		Paths:    map[string]map[string]any{},
		Components: map[string]map[string]any{
			"schemas": {},
			"securitySchemes": {"key": map[string]string{
				"type": "http", "scheme": "bearer",
				"description": "A key of the shop, as CreateKey answers it.",
			}},
		},
	}
}

func (d *document) addFile(path string) error {
	text, err := os.ReadFile(path)
	if err != nil {
		return err
	}
	var part document
	if err := json.Unmarshal(text, &part); err != nil {
		return fmt.Errorf("%s: %w", path, err)
	}
	if err := d.add(part); err != nil {
		return fmt.Errorf("%s: %w", path, err)
	}
	return nil
}

func (d *document) add(part document) error {
	if part.OpenAPI != d.OpenAPI {
		return fmt.Errorf("OpenAPI version %q, want %q", part.OpenAPI, d.OpenAPI)
	}
	d.Tags = append(d.Tags, part.Tags...)
	var faults []error
	for path, methods := range part.Paths {
		if d.Paths[path] == nil {
			d.Paths[path] = map[string]any{}
		}
		faults = append(faults, join("path "+path, d.Paths[path], methods))
	}
	faults = append(faults, join("schema", d.Components["schemas"], part.Components["schemas"]))
	return errors.Join(faults...)
}

func join(what string, into, from map[string]any) error {
	for name, value := range from {
		if have, taken := into[name]; taken && !reflect.DeepEqual(have, value) {
			return fmt.Errorf("%s %s is described in two ways", what, name)
		}
		into[name] = value
	}
	return nil
}

func (d *document) write(out string) error {
	slices.SortFunc(d.Tags, func(a, b map[string]any) int {
		return strings.Compare(fmt.Sprint(a["name"]), fmt.Sprint(b["name"]))
	})
	var text bytes.Buffer
	encoder := json.NewEncoder(&text)
	encoder.SetEscapeHTML(false)
	encoder.SetIndent("", "  ")
	if err := encoder.Encode(d); err != nil {
		return err
	}
	if err := os.MkdirAll(filepath.Dir(out), 0o755); err != nil {
		return err
	}
	return os.WriteFile(out, text.Bytes(), 0o644)
}
