package cluster

import (
	"bytes"
	"context"
	"errors"
	"fmt"
	"io/fs"
	"os"
	"os/exec"
	"path/filepath"
	"runtime"
	"strconv"
	"strings"
	"syscall"
	"time"
)

// Signals to a postmaster, from PostgreSQL's manual, "Shutting Down the Server".
const (
	fastShutdown      = syscall.SIGINT
	immediateShutdown = syscall.SIGQUIT
)

// recordedPID reads the process number from a lock file of PostgreSQL; 0 when there is none.
func recordedPID(file string) (int, error) {
	text, err := os.ReadFile(file)
	if errors.Is(err, fs.ErrNotExist) {
		return 0, nil
	}
	if err != nil {
		return 0, err
	}
	first, _, _ := strings.Cut(string(text), "\n")
	pid, err := strconv.Atoi(strings.TrimSpace(first))
	if err != nil || pid <= 0 {
		return 0, nil // a file that was cut short by a crash
	}
	return pid, nil
}

// isPostmaster tells whether the process is the postmaster of the data. After a reboot the
// number may have gone to any other process, even to a postgres of somebody else.
func isPostmaster(pid int, data string) bool {
	if err := syscall.Kill(pid, 0); err != nil && !errors.Is(err, syscall.EPERM) {
		return false
	}
	return bytes.Contains(commandLine(pid), []byte(data))
}

func commandLine(pid int) []byte {
	number := strconv.Itoa(pid)
	if runtime.GOOS == "linux" {
		line, err := os.ReadFile(filepath.Join("/proc", number, "cmdline"))
		if err != nil {
			return nil // it ended meanwhile
		}
		return line
	}
	line, err := exec.Command("ps", "-o", "command=", "-p", number).Output()
	if err != nil {
		return nil
	}
	return line
}

// leftover is the postmaster that a predecessor left running; 0 when there is none.
func (c *Cluster) leftover() (int, error) {
	pid, err := recordedPID(filepath.Join(c.data, "postmaster.pid"))
	if err != nil || pid == 0 || !isPostmaster(pid, c.data) {
		return 0, err
	}
	return pid, nil
}

// cleanUp ends a postmaster that a killed predecessor left and removes lock files whose number
// belongs to somebody else by now. We hold the folder's lock, so nobody else runs the cluster.
func (c *Cluster) cleanUp(ctx context.Context) error {
	pid, err := c.leftover()
	if err != nil {
		return fmt.Errorf("read postmaster.pid: %w", err)
	}
	if pid != 0 {
		c.config.report(CleaningUp, "process %d", pid)
		return endProcess(ctx, pid, func() bool { return !isPostmaster(pid, c.data) })
	}
	for _, file := range []string{
		filepath.Join(c.data, "postmaster.pid"),
		filepath.Join(c.socketFolder, socketName+".lock"),
		filepath.Join(c.socketFolder, socketName),
	} {
		if err := os.Remove(file); err != nil && !errors.Is(err, fs.ErrNotExist) {
			return fmt.Errorf("remove a stale lock: %w", err)
		}
	}
	return nil
}

// shutdownSteps are how a postmaster is asked to end, ever less politely. A fast shutdown writes
// a checkpoint, which may take a while; after the other two the next start recovers.
var shutdownSteps = []struct {
	signal syscall.Signal
	wait   time.Duration
}{
	{fastShutdown, 30 * time.Second},
	{immediateShutdown, 10 * time.Second},
	{syscall.SIGKILL, 10 * time.Second},
}

// endProcess ends a process that need not be our child. When ctx ends it turns impolite at once.
func endProcess(ctx context.Context, pid int, ended func() bool) error {
	for _, step := range shutdownSteps {
		if err := syscall.Kill(pid, step.signal); err != nil && !errors.Is(err, syscall.ESRCH) {
			return fmt.Errorf("end process %d: %w", pid, err)
		}
		if awaitEnd(ctx, step.wait, ended) {
			return nil
		}
	}
	return fmt.Errorf("process %d does not end", pid)
}

func awaitEnd(ctx context.Context, longest time.Duration, ended func() bool) bool {
	deadline := time.Now().Add(longest)
	if ctx.Err() != nil {
		deadline = time.Now().Add(2 * time.Second)
	}
	for !ended() {
		if time.Now().After(deadline) {
			return false
		}
		time.Sleep(5 * time.Millisecond)
	}
	return true
}
