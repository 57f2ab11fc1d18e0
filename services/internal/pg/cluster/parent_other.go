//go:build !linux

package cluster

import "syscall"

// dieWithParent does nothing here: a postmaster that we leave is cleaned up by the next start.
func dieWithParent(*syscall.SysProcAttr, syscall.Signal) {}
