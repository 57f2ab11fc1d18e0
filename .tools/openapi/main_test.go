package main

import (
	"strings"
	"testing"
)

func part(path, schema string, meaning any) document {
	return document{
		OpenAPI: "3.1.0",
		Tags:    []map[string]any{{"name": path}},
		Paths:   map[string]map[string]any{path: {"get": meaning}},
		Components: map[string]map[string]any{
			"schemas": {schema: meaning},
		},
	}
}

func TestAdd(t *testing.T) {
	t.Parallel()
	tests := []struct {
		name  string
		parts []document
		want  string
	}{
		{"JoinsWhatDiffers", []document{part("/a", "A", "1"), part("/b", "B", "2")}, ""},
		{"AcceptsTheSameTwice", []document{part("/a", "A", "1"), part("/a", "A", "1")}, ""},
		{"RefusesOneSchemaInTwoWays", []document{part("/a", "A", "1"), part("/b", "A", "2")},
			"schema A is described in two ways"},
		{"RefusesOnePathInTwoWays", []document{part("/a", "A", "1"), part("/a", "B", "2")},
			"path /a get is described in two ways"},
		{"RefusesAnotherVersion", []document{{OpenAPI: "2.0"}}, `OpenAPI version "2.0"`},
	}
	for _, test := range tests {
		t.Run(test.name, func(t *testing.T) {
			t.Parallel()
			whole := newDocument()
			var got string
			for _, part := range test.parts {
				if err := whole.add(part); err != nil {
					got = err.Error()
				}
			}
			if (got == "") != (test.want == "") || !strings.Contains(got, test.want) {
				t.Errorf("got error %q, want %q", got, test.want)
			}
		})
	}
}
