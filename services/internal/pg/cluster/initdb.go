package cluster

import (
	"context"
	"fmt"
	"os"
	"os/exec"
	"path/filepath"
	"strings"
)

// makeData runs initdb under a temporary name: a half-made cluster never has the final one.
func (c *Cluster) makeData(ctx context.Context) error {
	c.config.report(MakingData, "%s with PostgreSQL %d", c.data, c.programs.major)
	part := c.data + ".part"
	if err := os.RemoveAll(part); err != nil {
		return fmt.Errorf("remove a half-made cluster: %w", err)
	}
	if err := os.Mkdir(part, 0o700); err != nil {
		return fmt.Errorf("make the data folder: %w", err)
	}
	secret := filepath.Join(c.config.Folder, "initial-password")
	if err := os.WriteFile(secret, []byte(c.secrets.Admin+"\n"), 0o600); err != nil {
		return fmt.Errorf("hand initdb the password: %w", err)
	}
	defer os.Remove(secret)
	for _, path := range []string{part, secret} {
		if err := c.id.own(path); err != nil {
			return fmt.Errorf("give %s to user %s: %w", path, c.id.name, err)
		}
	}
	args := []string{"-D", part, "-U", adminRole, "-A", "scram-sha-256", "--pwfile", secret,
		"-E", "UTF8", "--locale=C", "--data-checksums"}
	if c.config.Throwaway {
		args = append(args, "--no-sync")
	}
	command := exec.CommandContext(ctx, c.programs.program("initdb"), args...)
	c.dress(command, part)
	if out, err := command.CombinedOutput(); err != nil {
		return fmt.Errorf("initdb: %w: %s", err, lastLines(string(out), 5))
	}
	if err := os.Rename(part, c.data); err != nil {
		return fmt.Errorf("name the new cluster: %w", err)
	}
	return nil
}

// resetAdmin gives the administrator of existing data a new password in single-user mode, for
// when the file with the secrets was lost.
func (c *Cluster) resetAdmin(ctx context.Context) error {
	command := exec.CommandContext(ctx, c.programs.program("postgres"),
		"--single", "-D", c.data, "postgres")
	c.dress(command, c.data)
	command.Stdin = strings.NewReader(
		fmt.Sprintf("ALTER ROLE %s PASSWORD '%s'\n", adminRole, c.secrets.Admin))
	if out, err := command.CombinedOutput(); err != nil {
		return fmt.Errorf("set a new administrator's password: %w: %s", err, lastLines(string(out), 5))
	}
	return nil
}

// dress makes a command run as the right user, in a folder he can enter, in plain surroundings.
func (c *Cluster) dress(command *exec.Cmd, folder string) {
	command.Dir = folder
	command.Env = childEnvironment()
	command.SysProcAttr = c.id.attributes()
}

// childEnvironment is fixed, so that the user's locale and settings for clients do not leak into
// the server. macOS needs LC_ALL or PostgreSQL refuses to start.
func childEnvironment() []string {
	return []string{"LC_ALL=C", "PATH=/usr/bin:/bin", "TZ=UTC"}
}
