package cluster

import "syscall"

// dieWithParent makes the kernel send the signal to the child when we end, however we end.
func dieWithParent(attributes *syscall.SysProcAttr, signal syscall.Signal) {
	attributes.Pdeathsig = signal
}
