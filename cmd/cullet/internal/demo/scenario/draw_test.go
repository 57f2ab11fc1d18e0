package scenario

import (
	"bytes"
	"image"
	"image/jpeg"
	"strings"
	"testing"
	"testing/fstest"

	"github.com/google/go-cmp/cmp"
)

var tiny = image.Pt(64, 48)

func TestDraw(t *testing.T) {
	t.Parallel()
	visits := load(t)
	named := map[string]int{}
	for i, v := range visits {
		named[v.Name] = i
		for n, p := range v.Photos {
			content, err := Draw(visits, i, n, tiny)
			if err != nil {
				t.Fatal(err)
			}
			_, err = jpeg.Decode(bytes.NewReader(content))
			if isPhoto := p.Instead == ""; isPhoto != (err == nil) {
				t.Errorf("photo %d of %s is a photo: %v, want %v", n+1, v.Name, err == nil, isPhoto)
			}
			if p.SameAs == "" {
				continue
			}
			name, _, _ := strings.Cut(p.SameAs, "/")
			other, number, err := find(visits, p.SameAs)
			if err != nil || visits[other].Name != name {
				t.Fatal(err)
			}
			if first, err := Draw(visits, other, number, tiny); err != nil || !bytes.Equal(first, content) {
				t.Errorf("photo %d of %s is not the same as %s (%v)", n+1, v.Name, p.SameAs, err)
			}
		}
	}
}

// TestReadsWhatItWrites parses what Format wrote.
func TestReadsWhatItWrites(t *testing.T) {
	t.Parallel()
	for _, v := range load(t) {
		text, err := v.Format()
		if err != nil {
			t.Fatal(err)
		}
		again, err := Parse(v.Name, text)
		if err != nil {
			t.Fatal(err)
		}
		second, err := again.Format()
		if err != nil || cmp.Diff(string(text), string(second)) != "" {
			t.Errorf("%s is not read as it was written: %v", v.Name, err)
		}
	}
}

func TestLoadRefuses(t *testing.T) {
	t.Parallel()
	for name, text := range map[string]string{
		"an unknown field":           `{"about": "x", "record": {}, "expect": {}, "extra": 1}`,
		"an unknown field of record": `{"about": "x", "record": {"vinn": "1"}, "expect": {}}`,
		"a broken later coverage":    `{"about": "x", "record": {}, "expect": {}, "later": {"coverage": {"x": 1}}}`,
		"an unknown kind of photo":   `{"about": "x", "record": {}, "expect": {}, "photos": [{"kind": "SELFIE"}]}`,
		"a photo that is not there":  `{"record": {}, "expect": {}, "photos": [{"kind": "BEFORE", "same_as": "R-0001-x/1"}]}`,
		"half a file":                `{"about": "x"`,
	} {
		files := fstest.MapFS{Folder + "/R-0009-y.json": {Data: []byte(text)}}
		if _, err := Load(files); err == nil || !strings.Contains(err.Error(), "R-0009-y") {
			t.Errorf("%s: %v, want an error that names the file", name, err)
		}
	}
	if _, err := Load(fstest.MapFS{}); err == nil {
		t.Error("no files at all were loaded")
	}
}

func TestRecordWithTakesOneHashAPhoto(t *testing.T) {
	t.Parallel()
	v := load(t)[0]
	if _, err := v.RecordWith([]string{"one"}); err == nil {
		t.Error("one hash for two photos was taken")
	}
	got, err := v.RecordWith([]string{"one", "two"})
	if err != nil || len(got.GetPhotos()) != 2 || got.GetPhotos()[1].GetPhotoHash() != "two" || len(v.Record.GetPhotos()) != 0 {
		t.Errorf("%v %v, want two photos and the visit untouched", got.GetPhotos(), err)
	}
}
