package main

import (
	"bufio"
	"context"
	"errors"
	"flag"
	"fmt"
	"os"
	"os/signal"
	"syscall"
	"testing"
)

// update rewrites the golden files of this package.
var update = flag.Bool("update", false, "rewrite the golden files")

const (
	// childEnv makes a process of this test binary the program itself.
	childEnv = "ALIQUOT_TEST_MAIN"
	// statusEnv names a file for what the kernel says of a child when it has done its work.
	statusEnv = "ALIQUOT_TEST_STATUS"
	// wholeMain is its value for the program with its standard input, and with nothing of a test's around it.
	wholeMain = "whole"
	// killEnv names the point at which a child kills itself, or hangs until it is told to go on.
	killEnv = "ALIQUOT_TEST_KILL"
)

// sideBySide is how many tests run at once. They wait for processes and seldom compute.
const sideBySide = "10"

func TestMain(m *testing.M) {
	switch os.Getenv(childEnv) {
	case "":
	case wholeMain:
		main()
	case bareMain:
		if err := bare(os.Args[1], os.Args[2]); err != nil {
			fmt.Fprintln(os.Stderr, err)
			os.Exit(exitFailed)
		}
		os.Exit(exitOK)
	default:
		os.Exit(child())
	}
	flag.Parse()
	chosen := false
	flag.Visit(func(f *flag.Flag) { chosen = chosen || f.Name == "test.parallel" })
	if !chosen {
		if err := flag.Set("test.parallel", sideBySide); err != nil {
			panic(err)
		}
	}
	os.Exit(m.Run())
}

// child is main, but for its standard input: its end ends the process, so that no child outlives a test that was
// aborted, and a line lets a hanging murderer go on.
func child() int {
	proceed := make(chan struct{})
	go func() {
		if bufio.NewScanner(os.Stdin).Scan() {
			close(proceed)
			_, _ = os.Stdin.Read(make([]byte, 1))
		}
		os.Exit(exitFailed)
	}()
	if point := os.Getenv(killEnv); point != "" {
		testWrap = (&murderer{point: point, proceed: proceed}).wrap
	}
	if os.Getenv(headcountEnv) != "" {
		var c headcount
		testWrap = c.wrap
		go c.speak()
	}
	ctx, stop := signal.NotifyContext(context.Background(), syscall.SIGINT, syscall.SIGTERM)
	defer stop()
	code := run(ctx, os.Args[1:], stream{os.Stdin, os.Stdout, os.Stderr})
	if path := os.Getenv(statusEnv); path != "" {
		text, err := os.ReadFile("/proc/self/status")
		if err = errors.Join(err, os.WriteFile(path, text, 0o600)); err != nil {
			panic(err)
		}
	}
	return code
}
