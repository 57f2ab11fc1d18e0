package openapi_test

import (
	"encoding/json"
	"slices"
	"strings"
	"testing"

	"google.golang.org/genproto/googleapis/api/annotations"
	"google.golang.org/protobuf/proto"
	"google.golang.org/protobuf/reflect/protoreflect"
	"google.golang.org/protobuf/reflect/protoregistry"

	_ "cullet/proto/cullet/access/v1"
	_ "cullet/proto/cullet/claims/v1"
	_ "cullet/proto/cullet/customers/v1"
	_ "cullet/proto/cullet/invoices/v1"
	_ "cullet/proto/cullet/jobs/v1"
	_ "cullet/proto/cullet/payers/v1"
	_ "cullet/proto/cullet/runs/v1"
	_ "cullet/proto/cullet/tax/v1"
	_ "cullet/proto/cullet/webhooks/v1"
	"cullet/proto/openapi"
)

func TestDocument(t *testing.T) {
	t.Parallel()
	var document struct {
		Paths      map[string]map[string]any `json:"paths"`
		Components struct {
			Schemas map[string]any `json:"schemas"`
		} `json:"components"`
	}
	if err := json.Unmarshal(openapi.Document(), &document); err != nil {
		t.Fatalf("the document is not JSON: %v", err)
	}

	t.Run("TellsEveryMethodOfTheContract", func(t *testing.T) {
		t.Parallel()
		var got []string
		for path, methods := range document.Paths {
			for verb := range methods {
				got = append(got, strings.ToUpper(verb)+" "+path)
			}
		}
		want := routes()
		slices.Sort(got)
		if len(want) == 0 || !slices.Equal(got, want) {
			t.Errorf("got paths\n%s\nwant\n%s", strings.Join(got, "\n"), strings.Join(want, "\n"))
		}
	})

	t.Run("RefersOnlyToSchemasThatItHas", func(t *testing.T) {
		t.Parallel()
		pieces := strings.Split(string(openapi.Document()), `"$ref": "#/components/schemas/`)
		if len(pieces) < 2 {
			t.Fatal("the document refers to no schema")
		}
		for _, piece := range pieces[1:] {
			name, _, _ := strings.Cut(piece, `"`)
			if _, ok := document.Components.Schemas[name]; !ok {
				t.Errorf("schema %s is referred to and not there", name)
			}
		}
	})
}

func routes() []string {
	var all []string
	protoregistry.GlobalFiles.RangeFiles(func(file protoreflect.FileDescriptor) bool {
		if !strings.HasPrefix(string(file.Package()), "cullet.") {
			return true
		}
		for i := range file.Services().Len() {
			methods := file.Services().Get(i).Methods()
			for j := range methods.Len() {
				all = append(all, route(methods.Get(j))...)
			}
		}
		return true
	})
	slices.Sort(all)
	return all
}

func route(method protoreflect.MethodDescriptor) []string {
	rule, _ := proto.GetExtension(method.Options(), annotations.E_Http).(*annotations.HttpRule)
	switch pattern := rule.GetPattern().(type) {
	case *annotations.HttpRule_Get:
		return []string{"GET " + pattern.Get}
	case *annotations.HttpRule_Post:
		return []string{"POST " + pattern.Post}
	case *annotations.HttpRule_Patch:
		return []string{"PATCH " + pattern.Patch}
	case *annotations.HttpRule_Put:
		return []string{"PUT " + pattern.Put}
	case *annotations.HttpRule_Delete:
		return []string{"DELETE " + pattern.Delete}
	}
	return nil
}
