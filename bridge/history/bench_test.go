package history

import (
	"fmt"
	"io"
	"slices"
	"strings"
	"testing"
	"time"
)

const manyRuns = 60_000 // about a year of seven channels at a run an hour

func manyLines() string {
	var b strings.Builder
	for i := range manyRuns {
		now := at("00:00:00").Add(time.Duration(i) * 8 * time.Minute)
		fmt.Fprintf(&b, `{"time":"%s","type":"run","channel":"channel-%d","volume_ml":%.2f,"outcome":"finished"}`+"\n", now.Format(time.RFC3339), i%7, 1+float64(i%100)/100)
	}
	return b.String()
}

func BenchmarkRead60000Runs(b *testing.B) {
	text := manyLines()
	b.SetBytes(int64(len(text)))
	for b.Loop() {
		rows, _, err := Read(strings.NewReader(text), "h.jsonl")
		if err != nil || len(rows) != manyRuns {
			b.Fatal(len(rows), err)
		}
	}
}

func BenchmarkWrite60000Runs(b *testing.B) {
	rows, _, err := Read(strings.NewReader(manyLines()), "h.jsonl")
	if err != nil {
		b.Fatal(err)
	}
	for b.Loop() {
		if _, err := Write(io.Discard, slices.Values(rows)); err != nil {
			b.Fatal(err)
		}
	}
}

func BenchmarkReadWithoutIDs(b *testing.B) {
	text := manyLines()
	b.SetBytes(int64(len(text)))
	for b.Loop() {
		rows, _, err := Site{WithoutIDs: true}.Read(strings.NewReader(text), "h.jsonl")
		if err != nil || len(rows) != manyRuns {
			b.Fatal(len(rows), err)
		}
	}
}
