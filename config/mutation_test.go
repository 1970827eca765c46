package config

import (
	"fmt"
	"os"
	"path/filepath"
	"regexp"
	"strconv"
	"strings"
	"testing"
)

var (
	leadingNumber = regexp.MustCompile(`^[-+]?[0-9]+(\.[0-9]+)?`)
)

// unitless are keys whose value may begin with a digit and yet is no number.
var unitless = regexp.MustCompile(`\.(slots|tick|test|start|up|down|on|off|listen|broker|topic|run|stop|report|command)$`)

// mayBeNegative are keys for which minus has a meaning.
var mayBeNegative = regexp.MustCompile(`\.top_to_outlet$`)

// mutants of one number (H-36): what a slip of the finger makes of it.
func mutants(value, number string) map[string]string {
	x, err := strconv.ParseFloat(number, 64)
	if err != nil {
		return nil
	}
	times := func(f float64) string {
		return strings.TrimSuffix(strconv.FormatFloat(x*f, 'g', 10, 64), ".0") + value[len(number):]
	}
	comma := strings.Replace(number, ".", ",", 1)
	if comma == number {
		comma += ",0"
	}
	return map[string]string{
		"×10": times(10), "×0.1": times(0.1), "minus": times(-1), "empty": "", "comma": comma + value[len(number):],
	}
}

// TestH36Mutations changes every number of the good files in five ways. Minus, empty and comma are always refused;
// ×10 and ×0.1 are refused, warned of, or stand in the golden list, which says what only the comparison with
// the running configuration can show. Nothing panics, and what is accepted keeps every invariant.
func TestH36Mutations(t *testing.T) {
	var silent strings.Builder
	counts := map[string]int{}
	for _, path := range files(t, 2, "../testdata/config/good/every-key.yaml", "../testdata/config/good/evaporation.yaml") {
		data := readFileT(t, path)
		_, _, usual := Parse("f", data)
		for _, l := range leaves(t, data) {
			number := leadingNumber.FindString(l.node.Value)
			if len(l.node.Content) > 0 || number == "" || unitless.MatchString(l.path) {
				continue
			}
			made := mutants(l.node.Value, number)
			for _, kind := range []string{"×10", "×0.1", "minus", "empty", "comma"} {
				site, problems, warnings := Parse("f", replaceAt(data, l, made[kind]))
				verdict := "accepted"
				switch {
				case site == nil && len(problems) > 0:
					verdict = "refused"
				case site == nil:
					t.Errorf("%s %s %s: neither a site nor a problem", path, l.path, kind)
				case warnings.String() != usual.String():
					verdict = "warned"
				}
				if site != nil {
					checkInvariants(t, site)
				}
				counts[kind+" "+verdict]++
				strict := kind == "empty" || kind == "comma" || kind == "minus" && !mayBeNegative.MatchString(l.path)
				if strict && verdict != "refused" {
					t.Errorf("%s: %s = %q is %s, want refused", path, l.path, made[kind], verdict)
				}
				if verdict == "accepted" && made[kind] != l.node.Value {
					fmt.Fprintf(&silent, "%s: %s: %s → %s\n", filepath.Base(path), l.path, l.node.Value, made[kind])
				}
			}
		}
	}
	for _, kind := range []string{"×10 refused", "×10 warned", "×0.1 refused", "×0.1 warned", "comma refused"} {
		if counts[kind] == 0 {
			t.Errorf("no mutation was %s: the test does not bite", kind)
		}
	}
	compareGolden(t, "../testdata/config/mutations.txt", silent.String())
}

// replaceAt writes another value at the place of a leaf, as an editor would.
func replaceAt(data []byte, l leafAt, value string) []byte {
	lines := strings.Split(string(data), "\n")
	line := []rune(lines[l.node.Line-1])
	head, tail := string(line[:l.node.Column-1]), string(line[l.node.Column-1:])
	if value == "" {
		value = `""`
	}
	if tail[0] == '"' || tail[0] == '\'' {
		tail = tail[len(l.node.Value)+2:]
	} else {
		tail = tail[len(l.node.Value):]
	}
	lines[l.node.Line-1] = head + value + tail
	return []byte(strings.Join(lines, "\n"))
}

func FuzzParse(f *testing.F) {
	for _, pattern := range []string{"../testdata/config/*/*.yaml", "../deploy/sites/*.yaml"} {
		list, err := filepath.Glob(pattern)
		if err != nil || len(list) == 0 {
			f.Fatalf("%s: %v, %v", pattern, list, err)
		}
		for _, path := range list {
			data, err := os.ReadFile(path)
			if err != nil {
				f.Fatal(err)
			}
			f.Add(data)
		}
	}
	f.Fuzz(func(t *testing.T, data []byte) {
		site, problems, warnings := Parse("f", data)
		if (site == nil) != (len(problems) > 0) {
			t.Fatalf("Parse gave site %v with %d problems", site != nil, len(problems))
		}
		for _, p := range append(append(Problems{}, problems...), warnings...) {
			if p.Found == "" || strings.ContainsRune(p.String(), 0) {
				t.Fatalf("an empty or unprintable problem: %+v", p)
			}
		}
		if site == nil {
			return
		}
		checkInvariants(t, site)
		again, _, repeated := Parse("f", data)
		if again == nil || repeated.String() != warnings.String() || fmt.Sprint(again.NotYet) != fmt.Sprint(site.NotYet) {
			t.Fatalf("the second reading differs from the first")
		}
	})
}
