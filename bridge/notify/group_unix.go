//go:build unix

package notify

import (
	"os/exec"
	"syscall"
)

// inGroup gives a program a process group of its own, so that what it starts can be ended with it.
func inGroup(p *exec.Cmd) {
	p.SysProcAttr = &syscall.SysProcAttr{Setpgid: true}
	p.Cancel = func() error {
		endGroup(p)
		return nil
	}
}

// endGroup ends whatever is left of the group. After the program itself has ended its number could be another group's
// only if the kernel had given all numbers out once within that moment.
func endGroup(p *exec.Cmd) { _ = syscall.Kill(-p.Process.Pid, syscall.SIGKILL) }
