package cluster

import (
	"context"
	"fmt"
	"os"
	"os/exec"
	"path/filepath"
	"runtime"
	"slices"
	"strings"
	"time"

	"github.com/lib/pq"
)

// child is a postmaster that we started.
type child struct {
	pid    int
	exited chan struct{} // closed when it has ended and was reaped
	result error         // why, to be read after exited
}

func (p *child) hasExited() bool {
	select {
	case <-p.exited:
		return true
	default:
		return false
	}
}

// settings are the server's, the same at every start; the data folder's own postgresql.conf
// stays as initdb wrote it.
func (c *Cluster) settings() map[string]string {
	all := map[string]string{
		"listen_addresses":        "", // the socket only
		"port":                    "5432",
		"unix_socket_directories": c.socketFolder,
		"unix_socket_permissions": "0700",
		"password_encryption":     "scram-sha-256",
		"timezone":                "UTC",
		"log_timezone":            "UTC",
		"log_line_prefix":         "%m [%p] %q%u@%d ",
		"logging_collector":       "off",
		"shared_buffers":          "256MB",
		"random_page_cost":        "1.1", // the disks of today
		"jit":                     "off", // our statements are short
		"fsync":                   "on",
	}
	if c.config.Throwaway {
		// Only the machine's death may lose anything: a killed PostgreSQL must still keep what it
		// committed, or tests that kill it would prove nothing.
		all["fsync"] = "off"
	}
	for name, value := range c.config.Settings {
		all[name] = value
	}
	return all
}

func (c *Cluster) arguments() []string {
	args := []string{"-D", c.data}
	var pairs []string
	for name, value := range c.settings() {
		pairs = append(pairs, name+"="+value)
	}
	slices.Sort(pairs)
	for _, pair := range pairs {
		args = append(args, "-c", pair)
	}
	return args
}

// spawn starts a postmaster. A detached one outlives us.
func (c *Cluster) spawn(detached bool) (*child, error) {
	log, err := c.openLog()
	if err != nil {
		return nil, err
	}
	defer log.Close()
	command := exec.Command(c.programs.program("postgres"), c.arguments()...)
	c.dress(command, c.data)
	command.Stdout, command.Stderr = log, log
	if detached {
		command.SysProcAttr.Setpgid, command.SysProcAttr.Setsid = false, true
	} else {
		dieWithParent(command.SysProcAttr, fastShutdown)
	}
	return start(command)
}

// start runs the command on a thread that lives as long as it does: Linux sends the signal of
// dieWithParent when the thread that started the process ends, not the process.
func start(command *exec.Cmd) (*child, error) {
	began := make(chan error, 1)
	running := &child{exited: make(chan struct{})}
	go func() {
		runtime.LockOSThread()
		defer runtime.UnlockOSThread()
		err := command.Start()
		if err == nil {
			running.pid = command.Process.Pid
		}
		began <- err
		if err == nil {
			running.result = command.Wait()
			close(running.exited)
		}
	}()
	if err := <-began; err != nil {
		return nil, fmt.Errorf("start postgres: %w", err)
	}
	return running, nil
}

// maxLog is when the log is put aside at the next start; one older log is kept.
const maxLog = 16 << 20

func (c *Cluster) logFile() string { return filepath.Join(c.config.Folder, "postgres.log") }

func (c *Cluster) openLog() (*os.File, error) {
	if info, err := os.Stat(c.logFile()); err == nil && info.Size() > maxLog {
		if err := os.Rename(c.logFile(), c.logFile()+".1"); err != nil {
			return nil, fmt.Errorf("put the old log aside: %w", err)
		}
	}
	log, err := os.OpenFile(c.logFile(), os.O_CREATE|os.O_APPEND|os.O_WRONLY, 0o600)
	if err != nil {
		return nil, fmt.Errorf("open PostgreSQL's log: %w", err)
	}
	return log, nil
}

// stillShared is PostgreSQL's message while processes of a killed postmaster still end.
const stillShared = "pre-existing shared memory block"

// launch starts a postmaster and waits until it answers; recovery after a crash is part of it.
func (c *Cluster) launch(ctx context.Context, detached bool) (*child, error) {
	for wait := 50 * time.Millisecond; ; wait *= 2 {
		if err := c.cleanUp(ctx); err != nil {
			return nil, err
		}
		c.config.report(Starting, "%d from %s", c.programs.major, c.programs.folder)
		running, err := c.spawn(detached)
		if err != nil {
			return nil, err
		}
		problem := c.awaitReady(ctx, running)
		if problem == nil {
			return running, nil
		}
		if wait > 2*time.Second || !strings.Contains(problem.Error(), stillShared) {
			return nil, problem
		}
		time.Sleep(wait)
	}
}

func (c *Cluster) awaitReady(ctx context.Context, running *child) error {
	tick := time.NewTicker(5 * time.Millisecond)
	defer tick.Stop()
	for {
		select {
		case <-running.exited:
			return fmt.Errorf("postgres ended at once (%w): %s", running.result, c.logTail())
		case <-ctx.Done():
			stop := endProcess(ctx, running.pid, running.hasExited)
			return fmt.Errorf("start postgres: %w", firstOf(stop, context.Cause(ctx)))
		case <-tick.C:
			if c.ping(ctx) == nil {
				return nil
			}
		}
	}
}

func firstOf(all ...error) error {
	for _, err := range all {
		if err != nil {
			return err
		}
	}
	return nil
}

// ping asks for a connection. Only an answer counts: a server that recovers refuses it.
func (c *Cluster) ping(ctx context.Context) error {
	connector, err := pq.NewConnector(c.AdminDSN("postgres"))
	if err != nil {
		return err
	}
	ctx, cancel := context.WithTimeout(ctx, 2*time.Second)
	defer cancel()
	connection, err := connector.Connect(ctx)
	if err != nil {
		return err
	}
	return connection.Close()
}

func (c *Cluster) logTail() string {
	text, err := os.ReadFile(c.logFile())
	if err != nil {
		return err.Error()
	}
	return lastLines(string(text), 6)
}

// end asks the child to end and waits for it.
func (p *child) end(ctx context.Context) error {
	if p.hasExited() {
		return nil
	}
	return endProcess(ctx, p.pid, p.hasExited)
}
