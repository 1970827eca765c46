//go:build long

package discovery_test

import (
	"encoding/json"
	"os"
	"os/exec"
	"path/filepath"
	"slices"
	"strings"
	"testing"
)

// release is what testdata/rules.py reads in the sources of one.
type release struct {
	Version        string
	Units          map[string][]string // by device class of a sensor
	StateClasses   map[string][]string `json:"state_classes"`
	Classes        []string            // device classes of sensors
	BinaryClasses  []string            `json:"binary_classes"`
	Device, Origin []string            // keys
	Components     map[string][]string // keys, by component
}

// TestRulesAreThoseOfTheReleases compares the tables in rules_test.go with the sources of releases; HOUSE_SOURCES names folders that
// hold homeassistant/, one of them 2024.3 and one the newest. What a release does not know would be dropped or refused there.
func TestRulesAreThoseOfTheReleases(t *testing.T) {
	folders := filepath.SplitList(os.Getenv("HOUSE_SOURCES"))
	if len(folders) < 2 {
		t.Fatal("HOUSE_SOURCES must name the folders of two releases at least")
	}
	var versions []string
	for _, folder := range folders {
		said, err := exec.Command("python3", "testdata/rules.py", folder).Output()
		if err != nil {
			t.Fatalf("%s: %v", folder, err)
		}
		var r release
		if err := json.Unmarshal(said, &r); err != nil {
			t.Fatal(err)
		}
		versions = append(versions, r.Version)
		t.Run(r.Version, r.compare)
	}
	if !strings.HasPrefix(versions[0], "2024.3.") || versions[len(versions)-1] < "2026" {
		t.Errorf("the releases are %v; want them from 2024.3 to the newest", versions)
	}
}

func (r release) compare(t *testing.T) {
	known := func(what string, ours, theirs []string) {
		for _, one := range ours {
			if one != "" && !slices.Contains(theirs, one) {
				t.Errorf("%s: %q is not known there", what, one)
			}
		}
	}
	for class, rule := range fit {
		known("device classes of sensors", []string{class}, r.Classes)
		known("state classes with "+class, rule.stateClasses, r.StateClasses[class])
		theirs, listed := r.Units[class]
		known("units with "+class, rule.units, theirs)
		if slices.Contains(rule.units, "") && listed && !slices.Contains(theirs, "") {
			t.Errorf("%s must have a unit there", class)
		}
	}
	known("device classes of binary sensors", binaryClasses, r.BinaryClasses)
	known("keys of device", strictDevice, r.Device)
	known("keys of origin", strictOrigin, r.Origin)
	for component, keys := range topLevel {
		known("keys of "+component, append(keys[:len(keys):len(keys)], everywhere...), r.Components[component])
	}
}
