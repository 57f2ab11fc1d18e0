package cluster

import (
	"context"
	"errors"
	"fmt"
	"os"
	"path/filepath"
	"strconv"
	"strings"
	"syscall"
	"time"

	"cullet/services/errs"
)

// folderLock says that this process works with the folder. The kernel frees it when the process
// ends, however it ends, so it can never be stale; the number inside is for the message only.
type folderLock struct{ file *os.File }

// lockFolder takes the lock or says at once who has it.
func lockFolder(folder string) (*folderLock, error) {
	file, err := os.OpenFile(filepath.Join(folder, "lock"), os.O_CREATE|os.O_RDWR, 0o600)
	if err != nil {
		return nil, fmt.Errorf("open the lock: %w", err)
	}
	err = syscall.Flock(int(file.Fd()), syscall.LOCK_EX|syscall.LOCK_NB)
	if err == nil {
		lock := &folderLock{file: file}
		return lock, lock.sign()
	}
	holder := make([]byte, 20)
	n, _ := file.ReadAt(holder, 0) // an empty lock just leaves the number out of the message
	file.Close()
	if !errors.Is(err, syscall.EWOULDBLOCK) {
		return nil, fmt.Errorf("lock folder %s: %w", folder, err)
	}
	return nil, errs.Newf(errs.Unavailable, ReasonInUse, "folder %s is in use by another program "+
		"(process %s): stop that one, or give this one a state folder of its own",
		folder, strings.TrimSpace(string(holder[:n])))
}

// awaitFolder takes the lock, waiting for others.
func awaitFolder(ctx context.Context, folder string) (*folderLock, error) {
	for {
		lock, err := lockFolder(folder)
		if !IsInUse(err) {
			return lock, err
		}
		select {
		case <-ctx.Done():
			return nil, errors.Join(err, context.Cause(ctx))
		case <-time.After(10 * time.Millisecond):
		}
	}
}

func (l *folderLock) sign() error {
	if err := l.file.Truncate(0); err != nil {
		return err
	}
	_, err := l.file.WriteAt([]byte(strconv.Itoa(os.Getpid())+"\n"), 0)
	return err
}

func (l *folderLock) release() { l.file.Close() }
