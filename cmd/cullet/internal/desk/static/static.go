// Package static holds the desk's own files: one style sheet and one icon. Nothing is fetched
// from elsewhere.
package static

import (
	"crypto/sha256"
	"embed"
	"encoding/hex"
	"io/fs"
	"net/http"
)

//go:embed desk.css icon.svg
var files embed.FS

// mediaTypes of the files, for a server must not guess.
var mediaTypes = map[string]string{"desk.css": "text/css; charset=utf-8", "icon.svg": "image/svg+xml"}

// Address is where a file is served, with a mark that changes with its contents; empty for a file
// that is not there.
func Address(name string) string {
	content, err := fs.ReadFile(files, name)
	if err != nil {
		return ""
	}
	sum := sha256.Sum256(content)
	return "/static/" + name + "?v=" + hex.EncodeToString(sum[:4])
}

// Handler serves the files under /static/{name}. An address with the present mark may be kept for
// ever, any other is asked for again.
func Handler(w http.ResponseWriter, r *http.Request) {
	name := r.PathValue("name")
	content, err := fs.ReadFile(files, name)
	if err != nil {
		http.NotFound(w, r)
		return
	}
	keep := "no-cache"
	if r.URL.RequestURI() == Address(name) {
		keep = "public, max-age=31536000, immutable"
	}
	w.Header().Set("Cache-Control", keep)
	w.Header().Set("Content-Type", mediaTypes[name])
	_, _ = w.Write(content) // whoever went away is not told
}
