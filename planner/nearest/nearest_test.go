package nearest

import (
	"slices"
	"strings"
	"testing"

	"pgregory.net/rapid"
)

func TestWord(t *testing.T) {
	keys := []string{"smallest_run", "per_run", "per_day", "run_time", "rest", "volume_ml", "by"}
	for word, want := range map[string]string{
		"smalest_run": "smallest_run", "per-run": "per_run", "Per_Day": "per_day", "per day": "per_day", "perday": "per_day",
		"runtime": "run_time", "rset": "rest", "volume": "volume_ml", "volume_l": "volume_ml", "volume_ml_now": "volume_ml",
		"volu": "", "colour": "", "": "", "x": "", "xy": "by", "zz": "", strings.Repeat("per_run", 20): "",
	} {
		if got := Word(word, keys); got != want {
			t.Errorf("Word(%.40q) = %q, want %q", word, got, want)
		}
	}
	if got := Word("rest", nil); got != "" {
		t.Errorf("of no candidates: %q", got)
	}
}

func TestNames(t *testing.T) {
	list := []string{"salt", "sulfate", "silt", "salts"}
	for _, c := range []struct {
		word string
		n    int
		want []string
	}{{"salt", 2, []string{"salt", "silt"}}, {"solt", 3, []string{"salt", "silt", "salts"}}, {"salt", 9, []string{"salt", "silt", "salts", "sulfate"}}, {"salt", 0, nil}} {
		if got := Names(c.word, list, c.n); !slices.Equal(got, c.want) {
			t.Errorf("Names(%q, %d) = %v; want %v", c.word, c.n, got, c.want)
		}
	}
	if list[1] != "sulfate" {
		t.Errorf("the candidates were sorted: %v", list)
	}
}

func TestEdits(t *testing.T) {
	for _, c := range []struct {
		a, b string
		want int
	}{{"", "", 0}, {"", "abc", 3}, {"abc", "", 3}, {"kitten", "sitting", 3}, {"salt", "salt", 0}, {"salt", "slat", 1}, {"ca", "abc", 3}, {"é", "e", 1},
		{strings.Repeat("a", 64), "", 64}, {strings.Repeat("a", 65), "a", 64}, {"a", strings.Repeat("a", 100_000), 64}} {
		if got := Edits(c.a, c.b); got != c.want {
			t.Errorf("Edits(%.20q, %.20q) = %d; want %d", c.a, c.b, got, c.want)
		}
	}
}

// Edits agrees with the definition: optimal string alignment, by exhaustion.
func TestEditsIsTheEditDistance(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		a := rapid.StringMatching(`[ab]{0,5}`).Draw(t, "a")
		b := rapid.StringMatching(`[ab]{0,5}`).Draw(t, "b")
		if got, want := Edits(a, b), naive(a, b); got != want || got != Edits(b, a) {
			t.Fatalf("Edits(%q, %q) = %d; want %d", a, b, got, want)
		}
	})
}

func naive(a, b string) int {
	switch {
	case a == "":
		return len(b)
	case b == "":
		return len(a)
	case a[0] == b[0]:
		return naive(a[1:], b[1:])
	}
	d := 1 + min(naive(a[1:], b), naive(a, b[1:]), naive(a[1:], b[1:]))
	if len(a) > 1 && len(b) > 1 && a[0] == b[1] && a[1] == b[0] {
		d = min(d, 1+naive(a[2:], b[2:]))
	}
	return d
}
