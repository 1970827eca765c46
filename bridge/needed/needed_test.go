package needed

import (
	"fmt"
	"os"
	"strings"
	"testing"
)

// ended is a test that notes how it was ended.
type ended struct {
	testing.TB
	how string
}

func (e *ended) Helper()                           {}
func (e *ended) Fatalf(format string, args ...any) { e.note("failed: "+format, args...) }
func (e *ended) Skipf(format string, args ...any)  { e.note("skipped: "+format, args...) }
func (e *ended) note(format string, args ...any) {
	if e.how == "" { // the real ones do not come back
		e.how = fmt.Sprintf(format, args...)
	}
}

func TestMissingFailsInCIAndIsSkippedElsewhere(t *testing.T) {
	for ci, want := range map[string]string{"true": "failed: ", "": "skipped: "} {
		t.Setenv("CI", ci)
		e := &ended{}
		if got := Program(e, "nothing", "no-such-program", "nor-this-one"); got != "" || !strings.HasPrefix(e.how, want) || !strings.Contains(e.how, "no-such-program (Debian package nothing)") {
			t.Errorf("CI=%q: %q, found %q", ci, e.how, got)
		}
	}
}

func TestProgramIsTheFirstThatThereIs(t *testing.T) {
	if got := Program(t, "nothing", "no-such-program", os.Args[0]); got != os.Args[0] {
		t.Errorf("found %q", got)
	}
}
