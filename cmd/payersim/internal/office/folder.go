package office

import (
	"context"
	"errors"
	"fmt"
	"os"
	"path/filepath"
	"strings"
	"time"

	"cullet/cmd/payersim/internal/book"
	"cullet/cmd/payersim/internal/payer"
)

// lookEvery is how often folders are looked into.
const lookEvery = 250 * time.Millisecond

// makeFolders makes what a folder partner needs. Its own subfolders are taken/ and refused/.
func makeFolders(root, code string) error {
	for _, name := range []string{"out", "in", "taken", "refused"} {
		if err := os.MkdirAll(filepath.Join(root, code, name), 0o770); err != nil {
			return fmt.Errorf("make the folders of payer %s: %w", code, err)
		}
	}
	return nil
}

// WatchFolders takes documents from the folders of all payers that have one, until ctx ends.
func (o *Office) WatchFolders(ctx context.Context) {
	ticker := time.NewTicker(lookEvery)
	defer ticker.Stop()
	for {
		select {
		case <-ctx.Done():
			return
		case <-ticker.C:
			o.lookIntoFolders()
		}
	}
}

func (o *Office) lookIntoFolders() {
	for _, code := range o.Book.Codes() {
		who, _ := o.Book.Payer(code)
		if !who.IsFolder {
			continue
		}
		if err := o.empty(who); err != nil {
			o.Log.Error("a folder could not be emptied", "payer", code, "error", err)
		}
	}
}

// empty takes what lies whole in a payer's out/.
func (o *Office) empty(who payer.Payer) error {
	out := filepath.Join(o.Folders, who.Code, "out")
	entries, err := os.ReadDir(out)
	if err != nil {
		return err
	}
	var faults []error
	for _, entry := range entries {
		name := entry.Name()
		if !entry.Type().IsRegular() || strings.HasPrefix(name, ".") || strings.HasSuffix(name, ".part") {
			continue
		}
		content, err := os.ReadFile(filepath.Join(out, name))
		if err != nil {
			faults = append(faults, err)
			continue
		}
		faults = append(faults, o.file(who, name, content))
	}
	return errors.Join(faults...)
}

// file takes a document and moves its file away: to taken/, or to refused/ with a note beside it.
// Killed before the move, it finds the file again and knows it by its control number.
func (o *Office) file(who payer.Payer, name string, content []byte) error {
	own := filepath.Join(o.Folders, who.Code)
	_, _, err := o.take(who, handed{via: "folder", fileName: name, content: content})
	if err == nil {
		return os.Rename(filepath.Join(own, "out", name), filepath.Join(own, "taken", name))
	}
	if _, isMalformed := errors.AsType[errMalformed](err); !isMalformed && !errors.Is(err, book.ErrTaken) {
		return err // ours, not the document's: it stays for the next look
	}
	note := fmt.Sprintf("%s\n%v\n", Says, err)
	return errors.Join(
		os.WriteFile(filepath.Join(own, "refused", name+".txt"), []byte(note), 0o640),
		os.Rename(filepath.Join(own, "out", name), filepath.Join(own, "refused", name)))
}
