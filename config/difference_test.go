package config

import (
	"bytes"
	"strings"
	"testing"
)

func mustParse(t *testing.T, text string) *Site {
	t.Helper()
	site, problems, _ := Parse("site.yaml", []byte(text))
	if site == nil {
		t.Fatal(problems)
	}
	return site
}

func TestDifferences(t *testing.T) {
	base := string(readFileT(t, "../testdata/config/good/every-key.yaml"))
	older := mustParse(t, base)
	for _, c := range []struct {
		name        string
		change      func(string) string
		want, place string
	}{
		{"nothing", func(s string) string { return s }, "", ""},
		{"a comment and an empty line", func(s string) string { return "# a remark\n\n" + s }, "", ""},
		{"a value", func(s string) string {
			return strings.Replace(s, `test: "30 9 1 * *"`, `test: "31 9 1 * *"`, 1)
		}, "alerts.test: 31 9 1 * *, was 30 9 1 * *", ""},
		{"a value that goes", func(s string) string {
			return strings.Replace(s, ", timeout: 20s, level: critical}", ", timeout: 20s}", 1)
		}, "alerts.webhook.level: is gone, was critical", ""},
		{"an entry of a list", func(s string) string {
			return strings.Replace(s, "[/usr/local/bin/tell, --from, the shed]", "[/usr/local/bin/tell]", 1)
		},
			"alerts.command.argv[1]: is gone, was --from\nalerts.command.argv[2]: is gone, was the shed", ""},
	} {
		t.Run(c.name, func(t *testing.T) {
			changed := c.change(base)
			if c.want != "" && changed == base {
				t.Fatal("the change changes nothing")
			}
			var lines []string
			newer := mustParse(t, changed)
			for _, d := range newer.Differences(older) {
				lines = append(lines, d.String())
				if at, ok := newer.Where(d.Path); d.Now != "" && (!ok || at != d.At) {
					t.Errorf("%s: at %v, in the file at %v", d.Path, d.At, at)
				}
			}
			if got := strings.Join(lines, "\n"); got != c.want {
				t.Errorf("differences:\n%s\nwant:\n%s", got, c.want)
			}
		})
	}
}

// Two files of different sites differ in everything that is not alike, and no file from itself.
func TestDifferencesOfEveryGoodFile(t *testing.T) {
	paths := files(t, 2, "../testdata/config/good/*.yaml")
	var sites []*Site
	for _, p := range paths {
		data := readFileT(t, p)
		sites = append(sites, mustParse(t, string(data)))
		again := mustParse(t, string(bytes.Clone(data)))
		if d := again.Differences(sites[len(sites)-1]); len(d) > 0 {
			t.Errorf("%s differs from itself: %v", p, d)
		}
	}
	for i, a := range sites[1:] {
		there, back := a.Differences(sites[i]), sites[i].Differences(a)
		if len(there) == 0 || len(there) != len(back) {
			t.Errorf("%s has %d differences from %s, and %d the other way round", paths[i+1], len(there), paths[i], len(back))
		}
	}
}
