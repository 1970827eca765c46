//go:build !unix

package notify

import "os/exec"

func inGroup(*exec.Cmd) {}

func endGroup(p *exec.Cmd) { _ = p.Process.Kill() }
