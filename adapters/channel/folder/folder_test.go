package folder

import (
	"errors"
	"fmt"
	"os"
	"path/filepath"
	"strings"
	"testing"

	"cullet/adapters/channeltest"
	"cullet/services/claims"
)

// partner is a payer that looks into its folder.
type partner struct {
	t    *testing.T
	root string
}

func setup(t *testing.T) (claims.Channel, channeltest.Partner) {
	t.Helper()
	root := t.TempDir()
	if err := os.Mkdir(filepath.Join(root, "lakeside"), 0o770); err != nil {
		t.Fatal(err)
	}
	return New(Options{Root: root}), partner{t, root}
}

func (p partner) path(name ...string) string {
	return filepath.Join(append([]string{p.root, "lakeside"}, name...)...)
}

func (p partner) Destination() claims.Destination { return claims.Destination{Address: "lakeside"} }

func (p partner) Behave(b channeltest.Behaviour, _ func()) bool {
	p.undo()
	switch b {
	case channeltest.Honest:
	case channeltest.Gone:
		p.must(os.Rename(p.path(), p.path()+"-away"))
	case channeltest.Broken:
		// The disk answers no: a file stands where the folder belongs.
		if _, err := os.Stat(p.path("out")); err == nil {
			p.must(os.Rename(p.path("out"), p.path("out-away")))
		}
		p.must(os.WriteFile(p.path("out"), nil, 0o640))
	default:
		return false
	}
	return true
}

func (p partner) undo() {
	if _, err := os.Stat(p.path() + "-away"); err == nil {
		p.must(os.Rename(p.path()+"-away", p.path()))
	}
	if about, err := os.Stat(p.path("out")); err == nil && !about.IsDir() {
		p.must(os.Remove(p.path("out")))
	}
	if _, err := os.Stat(p.path("out-away")); err == nil {
		p.must(os.Rename(p.path("out-away"), p.path("out")))
	}
}

func (p partner) Taken() []channeltest.Taken {
	p.undo()
	entries, err := os.ReadDir(p.path("out"))
	if err != nil && !errors.Is(err, os.ErrNotExist) {
		p.t.Error(err)
	}
	var taken []channeltest.Taken
	for _, entry := range entries {
		content, err := os.ReadFile(p.path("out", entry.Name()))
		p.must(err)
		taken = append(taken, channeltest.Taken{FileName: entry.Name(), Content: string(content)})
	}
	return taken
}

func (p partner) Answer(name, content string) bool {
	p.must(os.MkdirAll(p.path("in"), 0o770))
	p.must(os.WriteFile(p.path("in", name), []byte(content), 0o640))
	return true
}

func (p partner) must(err error) {
	if err != nil {
		p.t.Error(err)
	}
}

func TestChannel(t *testing.T) {
	t.Parallel()
	channeltest.Run(t, setup)
}

func lakesideDocument(number int64) claims.Document {
	return claims.Document{ControlNumber: number, FileName: fmt.Sprintf("claims-%d.json", number),
		MediaType: "application/json", Content: []byte("{}"),
		// SHA-256 of the two bytes {}, computed with sha256sum.
		Hash: "44136fa355b3678a1146ad16f7e8649e94fb4fc21fe77e8310c060f61caaff8a"}
}

// TestDeliverLeavesNothingHalf: what a killed delivery left is hidden from the payer, and is swept by
// the next delivery of the same document; what belongs to another stays.
func TestDeliverLeavesNothingHalf(t *testing.T) {
	t.Parallel()
	channel, p := setup(t)
	out := p.(partner).path("out")
	if err := os.Mkdir(out, 0o770); err != nil {
		t.Fatal(err)
	}
	for _, name := range []string{".claims-1.json.ABC.part", ".claims-12.json.ABC.part"} {
		if err := os.WriteFile(filepath.Join(out, name), []byte("half"), 0o640); err != nil {
			t.Fatal(err)
		}
	}
	if _, err := channel.Deliver(t.Context(), p.Destination(), lakesideDocument(1)); err != nil {
		t.Fatal(err)
	}
	var names []string
	for _, taken := range p.Taken() {
		names = append(names, taken.FileName)
	}
	if got, want := strings.Join(names, " "), ".claims-12.json.ABC.part claims-1.json"; got != want {
		t.Errorf("out/ holds %s, want %s", got, want)
	}
}

func TestDeliverDoesNotFollowLinksOut(t *testing.T) {
	t.Parallel()
	channel, p := setup(t)
	outside := t.TempDir()
	if err := os.Symlink(outside, p.(partner).path("out")); err != nil {
		t.Fatal(err)
	}
	if _, err := channel.Deliver(t.Context(), p.Destination(), lakesideDocument(1)); err == nil {
		t.Errorf("Deliver into a link that leads outside: nil, want an error")
	}
	if err := os.Symlink(outside, filepath.Join(p.(partner).root, "linked")); err != nil {
		t.Fatal(err)
	}
	_, err := channel.Deliver(t.Context(), claims.Destination{Address: "linked"}, lakesideDocument(1))
	if !errors.Is(err, claims.ErrMisaddressed) {
		t.Errorf("Deliver into a payer's folder that is a link: %v, want ErrMisaddressed", err)
	}
	if entries, err := os.ReadDir(outside); err != nil || len(entries) != 0 {
		t.Errorf("outside there is %v, %v, want nothing", entries, err)
	}
}

// TestCollectLeavesWhatItCannotRead: the rest is collected, and the error names each.
func TestCollectLeavesWhatItCannotRead(t *testing.T) {
	t.Parallel()
	channel, p := setup(t)
	in := p.(partner).path("in")
	p.Answer("good.json", "{}")
	p.Answer(".hidden", "half")
	p.Answer("coming.part", "half")
	p.Answer("coming.tmp", "half")
	p.Answer("line\nbreak", "{}")
	p.Answer("bad\xffname", "{}")
	p.Answer("long.json", strings.Repeat("x", maxAnswer+1))
	if err := os.Symlink("/etc/hostname", filepath.Join(in, "link.json")); err != nil {
		t.Fatal(err)
	}
	if err := os.Mkdir(filepath.Join(in, "folder.json"), 0o770); err != nil {
		t.Fatal(err)
	}
	var collected []string
	err := channel.Collect(t.Context(), p.Destination(), func(name string, content []byte) error {
		collected = append(collected, name+"="+string(content))
		return nil
	})
	if got, want := strings.Join(collected, " "), "good.json@44136fa355b3678a={}"; got != want {
		t.Errorf("collected %s, want %s", got, want)
	}
	for _, name := range []string{"long.json", "link.json", `line\nbreak`, `bad\xffname`} {
		if err == nil || !strings.Contains(err.Error(), name) {
			t.Errorf("the error does not name %s: %v", name, err)
		}
	}
	if _, err := os.Stat(filepath.Join(in, "done", "good.json@44136fa355b3678a")); err != nil {
		t.Errorf("the collected file is not in done/: %v", err)
	}
	for _, name := range []string{".hidden", "coming.part", "coming.tmp", "long.json", "link.json"} {
		if _, err := os.Lstat(filepath.Join(in, name)); err != nil {
			t.Errorf("%s was not left: %v", name, err)
		}
	}
}
