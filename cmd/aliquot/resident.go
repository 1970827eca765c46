package main

import (
	"runtime/debug"
	"time"
)

// settles is how long after its start a service has met its broker and its nodes, and has shown everything once.
const settles = time.Minute

// giveBack returns memory that only the start needed: garbage of the fold, and those pages of the program's own file that are not
// used all the time. A start touches nearly all of them, and they would count as this process's for good.
func giveBack() error {
	debug.FreeOSMemory()
	return unmapProgram()
}
