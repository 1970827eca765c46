package main

import (
	"fmt"
	"os"
	"strings"
	"testing"
)

// kept is a variable that differs from what the program's file says.
var kept = 1

// What is given back is the program's own file, and nothing that was changed since: the process goes on as it was.
func TestMemoryOfTheStartIsGivenBack(t *testing.T) {
	kept = 2
	text := strings.Repeat("x", 4096)
	before := fileMemory(t)
	if err := giveBack(); err != nil {
		t.Fatal(err)
	}
	after := fileMemory(t)
	if after > before*3/4 {
		t.Errorf("of its file the program holds %d kB, and held %d kB before", after, before)
	}
	if kept != 2 || strings.Count(text, "x") != 4096 {
		t.Error("something that was written was lost")
	}
	code := run(t.Context(), []string{"convert", "alkalinity", "8", "dKH"}, stream{strings.NewReader(""), &strings.Builder{}, &strings.Builder{}})
	if code != exitOK {
		t.Errorf("a command ended with %d afterwards", code)
	}
}

// fileMemory is how much of mapped files this process holds, in kB.
func fileMemory(t *testing.T) (kB int) {
	t.Helper()
	content, err := os.ReadFile("/proc/self/status")
	if err != nil {
		t.Fatal(err)
	}
	_, rest, _ := strings.Cut(string(content), "RssFile:")
	if _, err := fmt.Sscan(rest, &kB); err != nil || kB == 0 {
		t.Fatalf("no RssFile in %s (%v)", content, err)
	}
	return kB
}
