package desk

import (
	"slices"
	"sync"
	"time"
)

// maxWaiting is how many previewed files are held at once; beyond it the oldest is forgotten.
const maxWaiting = 16

// waitingFile is a file that was previewed and may be recorded.
type waitingFile struct {
	session       *session
	preview       string
	name, mapping string
	content       []byte
	held          time.Time
}

// waitingFiles holds previewed files between the two presses, so that nobody has to choose the file
// twice and what is recorded is what was previewed. They are in memory only, each for an hour, and
// belong to the session that sent them.
type waitingFiles struct {
	now func() time.Time

	mu  sync.Mutex
	all []waitingFile
}

func (w *waitingFiles) hold(f waitingFile) {
	w.mu.Lock()
	defer w.mu.Unlock()
	f.held = w.now()
	w.forget()
	if len(w.all) == maxWaiting {
		w.all = slices.Delete(w.all, 0, 1)
	}
	w.all = append(w.all, f)
}

// find gives the file of a preview; ok is false when it is not held, or another session's.
func (w *waitingFiles) find(s *session, preview string) (f waitingFile, ok bool) {
	w.mu.Lock()
	defer w.mu.Unlock()
	w.forget()
	i := slices.IndexFunc(w.all, func(f waitingFile) bool { return f.session == s && f.preview == preview })
	if i < 0 {
		return waitingFile{}, false
	}
	return w.all[i], true
}

// drop forgets the file of a preview.
func (w *waitingFiles) drop(s *session, preview string) {
	w.mu.Lock()
	defer w.mu.Unlock()
	w.all = slices.DeleteFunc(w.all, func(f waitingFile) bool { return f.session == s && f.preview == preview })
}

// forget drops what was held too long, or by a session that is over.
func (w *waitingFiles) forget() {
	now := w.now()
	w.all = slices.DeleteFunc(w.all, func(f waitingFile) bool { return now.Sub(f.held) > idleTimeout || f.session.isOver(now) })
}
