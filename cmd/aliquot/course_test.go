package main

import (
	"encoding/json"
	"os"
	"path/filepath"
	"strings"
	"testing"

	"aliquot/bridge/machine"
)

// courseFile is the demo site with the potassium as a course.
func courseFile(t *testing.T, course string) string {
	t.Helper()
	text, err := os.ReadFile(filepath.Join("..", "..", "deploy", "sites", "demo.yaml"))
	if err != nil {
		t.Fatal(err)
	}
	const at = "    fixed: 3 mL/day\n"
	if strings.Count(string(text), at) != 1 {
		t.Fatal("the demo site has another fixed channel")
	}
	file := filepath.Join(t.TempDir(), "site.yaml")
	if err := os.WriteFile(file, []byte(strings.Replace(string(text), at, at+"    course: "+course+"\n", 1)), 0o600); err != nil {
		t.Fatal(err)
	}
	return file
}

// A plan and the picture of a day show what belongs to a course: nothing before and after it, and no more than its total.
func TestPlanOfACourse(t *testing.T) {
	t.Parallel()
	history := filepath.Join("testdata", "plan", "history.jsonl")
	for _, c := range []struct {
		course string
		least  float64
		most   float64
		code   string
	}{
		{"{from: 2027-03-01, until: 2027-03-05}", 2.9, 3, ""},
		{"{from: 2027-03-01, until: 2027-03-04}", 0, 0, "course_over"},
		{"{from: 2027-03-07}", 0, 0, "course_not_begun"},
		{"{from: 2027-03-05, total: 2.1 mL}", 1.9, 2, ""},
	} {
		t.Run(c.course, func(t *testing.T) {
			t.Parallel()
			file := courseFile(t, c.course)
			args := []string{"plan", "-c", file, "--history", history, "--at", "2027-03-05T06:00:00Z"}
			var plan machine.PlanView
			if err := json.Unmarshal([]byte(must(t, append(args, "--format", "json")...)), &plan); err != nil {
				t.Fatal(err)
			}
			sum := 0.0
			for _, r := range plan.Runs {
				if r.Channel == "potassium" {
					sum += r.VolumeML
				}
			}
			if sum < c.least || sum > c.most {
				t.Errorf("planned %v mL; want %v to %v", sum, c.least, c.most)
			}
			withheld := ""
			for _, w := range plan.Withheld {
				if w.Channel == "potassium" {
					withheld += string(w.Code)
				}
			}
			if withheld != c.code {
				t.Errorf("withheld %q; want %q", withheld, c.code)
			}
			if day := must(t, append(args, "--day", "2027-03-05")...); (c.code == "") == strings.Contains(day, "the course ") {
				t.Errorf("the day reads:\n%s", day)
			}
			if text := must(t, "check", "-c", file); !strings.Contains(text, "fixed 3 mL a day from 2027-03-") {
				t.Errorf("check says nothing of the course:\n%s", text)
			}
		})
	}
}
