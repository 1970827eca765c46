package config

import (
	"fmt"
	"sort"
	"strings"
)

// Pos is a place in the file; line and column count from 1. The zero value means the file as a whole.
type Pos struct {
	Line int `json:"line"`
	Col  int `json:"col"`
}

// Problem is one thing that is wrong, or worth knowing, at one place.
type Problem struct {
	File    string
	At      Pos
	Path    string // the keys that lead there, such as channels.alk.limits.per_run
	Found   string // what was found, with its unit
	Allowed string // what is allowed; empty if Found says it
	Do      string // what to do; empty if that is plain
}

// String renders a problem as file:line:col: path: found, allowed; do.
func (p Problem) String() string {
	var b strings.Builder
	b.WriteString(p.File)
	if p.At.Line > 0 {
		fmt.Fprintf(&b, ":%d:%d", p.At.Line, p.At.Col)
	}
	b.WriteString(": ")
	if p.Path != "" {
		b.WriteString(p.Path + ": ")
	}
	b.WriteString(p.Found)
	if p.Allowed != "" {
		b.WriteString(", " + p.Allowed)
	}
	if p.Do != "" {
		b.WriteString("; " + p.Do)
	}
	return b.String()
}

// Problems is a list of problems in the order of the file.
type Problems []Problem

// String renders one problem a line.
func (ps Problems) String() string {
	lines := make([]string, len(ps))
	for i, p := range ps {
		lines[i] = p.String()
	}
	return strings.Join(lines, "\n")
}

// Err is nil without problems, else an error that carries all of them.
func (ps Problems) Err() error {
	if len(ps) == 0 {
		return nil
	}
	return problemsError{ps}
}

type problemsError struct{ ps Problems }

func (e problemsError) Error() string { return e.ps.String() }

// sorted puts problems in the order of the file, then of the path, then of the text, and drops repeats.
func (ps Problems) sorted() Problems {
	sort.SliceStable(ps, func(i, j int) bool {
		a, b := ps[i], ps[j]
		switch {
		case a.At.Line != b.At.Line:
			return a.At.Line < b.At.Line
		case a.At.Col != b.At.Col:
			return a.At.Col < b.At.Col
		case a.Path != b.Path:
			return a.Path < b.Path
		}
		return a.Found < b.Found
	})
	var out Problems
	for i, p := range ps {
		if i == 0 || p != ps[i-1] {
			out = append(out, p)
		}
	}
	return out
}

// NotYet is a key that is accepted and checked but has no effect in this version.
type NotYet struct {
	Path string
	At   Pos
	Why  string
}
