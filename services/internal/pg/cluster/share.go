package cluster

import (
	"context"
	"fmt"
)

// Share gives the running cluster of the folder, or starts one that outlives this process and is
// not supervised, so that all processes of a test run use one. Stop on it stops it for all.
// Several processes may call it at once.
func Share(ctx context.Context, config Config) (*Cluster, error) {
	c, err := prepare(config)
	if err != nil {
		return nil, err
	}
	lock, err := awaitFolder(ctx, config.Folder)
	if err != nil {
		return nil, err
	}
	defer lock.release()
	adopted, err := c.adopt(ctx)
	if err != nil || adopted {
		return c, err
	}
	running, err := c.begin(ctx, true)
	if err != nil {
		return nil, err
	}
	go c.endShared(running.hasExited)
	return c, nil
}

// adopt takes over what a postmaster that answers needs to be used.
func (c *Cluster) adopt(ctx context.Context) (bool, error) {
	pid, err := c.leftover()
	if err != nil || pid == 0 {
		return false, err
	}
	if c.secrets, err = loadSecrets(c.config.Folder); err != nil {
		return false, fmt.Errorf("load the secrets: %w", err)
	}
	if c.socketFolder, err = makeSocketFolder(c.config.Folder, c.id); err != nil {
		return false, err
	}
	if c.secrets.fresh || c.ping(ctx) != nil {
		return false, nil
	}
	c.pid.Store(int64(pid))
	if c.programs.major, err = dataMajor(c.data); err != nil {
		return false, err
	}
	go c.endShared(func() bool { return !isPostmaster(pid, c.data) })
	return true, nil
}

// endShared waits for Stop and ends the shared postmaster.
func (c *Cluster) endShared(ended func() bool) {
	<-c.stop
	c.result = endProcess(context.Background(), c.PID(), ended)
	close(c.finished)
}
