package config

import (
	"os"
	"path/filepath"
	"strings"
	"testing"
	"time"

	"aliquot/safety"
)

// What shares the volume of a course keeps to its days; its total is of that channel alone.
func TestWhatSharesACourseKeepsToItsDays(t *testing.T) {
	data, err := os.ReadFile(filepath.Join("..", "testdata", "config", "bad", "share-circle.yaml"))
	if err != nil {
		t.Fatal(err)
	}
	text := strings.Replace(string(data), "share: {of: ca, ratio: 1.0}", "fixed: 96 mL/day\n    course: {from: 2027-03-01, until: 2027-03-14, total: 800 mL}", 1)
	s, problems, _ := Parse("share.yaml", []byte(text))
	if s == nil {
		t.Fatalf("%v", problems)
	}
	day := func(d int) time.Time { return time.Date(2027, 3, d, 0, 0, 0, 0, time.UTC) }
	want := map[string]safety.Course{"alk": {From: day(1), Until: day(14), Total: 800 * safety.Millilitre}, "ca": {From: day(1), Until: day(14)}}
	for _, c := range s.Channels {
		if c.Course != want[c.ID] {
			t.Errorf("%s has the course %+v; want %+v", c.ID, c.Course, want[c.ID])
		}
	}
}
