package deploy

import (
	"bufio"
	"encoding/json"
	"fmt"
	"io"
	"math/rand/v2"
	"os"
	"os/exec"
	"path/filepath"
	"regexp"
	"strings"
	"sync"
	"testing"
	"time"

	"aliquot/bridge/needed"
	"aliquot/bridge/simnode"

	"pgregory.net/rapid"
)

// scratch is a folder for what is compiled once for all tests.
var scratch string

func TestMain(m *testing.M) {
	var err error
	if scratch, err = os.MkdirTemp("", "node"); err != nil {
		fmt.Fprintln(os.Stderr, err)
		os.Exit(1)
	}
	code := m.Run()
	os.RemoveAll(scratch)
	os.Exit(code)
}

// compile makes the driver of the reference node, with every warning an error and with the compiler's own checks of memory
// and of undefined behaviour.
var compile = sync.OnceValues(func() (string, error) {
	path := filepath.Join(scratch, "script")
	cmd := exec.Command("gcc", "-std=c99", "-O1", "-g", "-Wall", "-Wextra", "-Werror", "-pedantic", "-Wconversion",
		"-fsanitize=address,undefined", "-fno-sanitize-recover=all", "-o", path, "bounded_run.c", "script.c")
	cmd.Dir = "node"
	if out, err := cmd.CombinedOutput(); err != nil {
		return "", fmt.Errorf("gcc: %w\n%s", err, out)
	}
	return path, nil
})

func driver(t *testing.T) string {
	t.Helper()
	needed.Program(t, "gcc", "gcc")
	path, err := compile()
	if err != nil {
		t.Fatal(err)
	}
	return path
}

// failer is what testing.T and rapid.T have in common here.
type failer interface {
	Helper()
	Fatalf(format string, args ...any)
}

// cboard is the reference node in a process of its own and in a time of its own.
type cboard struct {
	t   failer
	in  io.WriteCloser
	out *bufio.Scanner
	end func()
}

func startBoard(t failer, path, outputs, longest string) *cboard {
	t.Helper()
	cmd := exec.Command(path, outputs, longest)
	in, err := cmd.StdinPipe()
	if err != nil {
		t.Fatalf("%v", err)
	}
	out, err := cmd.StdoutPipe()
	if err != nil {
		t.Fatalf("%v", err)
	}
	var said strings.Builder
	cmd.Stderr = &said
	if err := cmd.Start(); err != nil {
		t.Fatalf("%v", err)
	}
	b := &cboard{t: t, in: in, out: bufio.NewScanner(out)}
	b.end = func() {
		in.Close()
		if err := cmd.Wait(); err != nil {
			t.Fatalf("the node ended with %v\n%s", err, said.String())
		}
	}
	b.out.Buffer(nil, 1<<21)
	return b
}

// do sends one line and gives what the board does, one word or report each.
func (b *cboard) do(ms, unix int64, verb string, output int, retained bool, payload string) (out []string) {
	b.t.Helper()
	flag := 0
	if retained {
		flag = 1
	}
	if _, err := fmt.Fprintf(b.in, "%d %d %s %d %d %s\n", ms, unix, verb, output, flag, payload); err != nil {
		b.t.Fatalf("%v", err)
	}
	for b.out.Scan() {
		if b.out.Text() == "ok" {
			return out
		}
		out = append(out, b.out.Text())
	}
	b.t.Fatalf("the node fell silent after %s %s", verb, payload)
	return nil
}

const expires = `"expires":"2027-03-02T09:00:10Z"`

// atExpiry is that moment in unix time.
var atExpiry = time.Date(2027, 3, 2, 9, 0, 10, 0, time.UTC).Unix()

func TestReferenceNode(t *testing.T) {
	run := func(id, seconds string) string {
		return fmt.Sprintf(`{"v":1,"id":%q,"seconds":%s,"volume_ml":3.20,%s}`, id, seconds, expires)
	}
	report := func(id, state, more string) string {
		return fmt.Sprintf(`report 1 {"v":1,"id":%q,"state":%q%s,"boot":1,"seq":N}`, id, state, more)
	}
	type step struct {
		ms, unix int64
		verb     string
		retained bool
		payload  string
		want     string
	}
	started := "on 1, " + report("a", "started", "")
	finished := func(s string) string { return "off 1, " + report("a", "finished", `,"seconds":`+s) }
	refused := func(id, why string) string { return report(id, "refused", `,"reason":"`+why+`"`) }
	for _, c := range []struct {
		name  string
		steps []step
	}{
		{"it ends by itself, not sooner", []step{{0, 0, "run", false, run("a", "19.600"), started}, {19599, 0, "tick", false, "", ""}, {19600, 0, "tick", false, "", finished("19.600")}}},
		{"it says how long it really ran", []step{{0, 0, "run", false, run("a", "1.000"), started}, {1581, 0, "tick", false, "", finished("1.581")}}},
		{"the count of milliseconds wraps", []step{{4294967000, 0, "run", false, run("a", "1"), started}, {703, 0, "tick", false, "", ""}, {704, 0, "tick", false, "", finished("1.000")}}},
		{"repeated", []step{{0, 0, "run", false, run("a", "1"), started}, {1000, 0, "run", false, run("a", "1"), finished("1.000") + ", " + refused("a", "repeated")}}},
		{"repeated while it runs: not longer", []step{{0, 0, "run", false, run("a", "2"), started}, {1000, 0, "run", false, run("a", "2"), refused("a", "repeated")}, {2000, 0, "tick", false, "", finished("2.000")}}},
		{"busy", []step{{0, 0, "run", false, run("a", "2"), started}, {1000, 0, "run", false, run("b", "9"), refused("b", "busy")}, {2000, 0, "tick", false, "", finished("2.000")}}},
		{"refused once, refused as repeated", []step{{0, 0, "run", false, run("a", "61"), refused("a", "too_long")}, {0, 0, "run", false, run("a", "1"), refused("a", "repeated")}}},
		{"the longest run", []step{{0, 0, "run", false, run("a", "60.000"), started}, {60000, 0, "tick", false, "", finished("60.000")}}},
		{"a little longer", []step{{0, 0, "run", false, run("a", "60.001"), refused("a", "too_long")}}},
		{"absurdly long", []step{{0, 0, "run", false, run("a", "99999999999999999999999999"), refused("a", "too_long")}}},
		{"finer than a millisecond is cut", []step{{0, 0, "run", false, run("a", "1.0009"), started}, {1000, 0, "tick", false, "", finished("1.000")}}},
		{"at its expiry", []step{{0, atExpiry, "run", false, run("a", "1"), started}}},
		{"after its expiry", []step{{0, atExpiry + 1, "run", false, run("a", "1"), refused("a", "expired")}}},
		{"after its expiry, without a clock", []step{{0, 0, "run", false, run("a", "1"), started}}},
		{"no expiry, with a clock", []step{{0, 1, "run", false, `{"v":1,"id":"a","seconds":1}`, refused("a", "expired")}}},
		{"retained", []step{{0, 0, "run", true, run("a", "1"), ""}, {0, 0, "run", false, run("a", "1"), started}, {1, 0, "stop", true, `{"v":1,"id":"*"}`, ""}}},
		{"a restart", []step{{0, 0, "run", false, run("a", "9"), started}, {1, 0, "boot", false, "", "off 1, off 2"}, {9000, 0, "tick", false, "", ""},
			{9001, 0, "run", false, run("a", "1"), `report 1 {"v":1,"id":"a","state":"refused","reason":"repeated","boot":2,"seq":N}`}}},
		{"stopped by its id", []step{{0, 0, "run", false, run("a", "9"), started}, {5, 0, "stop", false, `{"v":1,"id":"b"}`, ""}, {10, 0, "stop", false, `{"v":1,"id":"a"}`, "off 1, " + report("a", "stopped", `,"seconds":0.010`)}, {20, 0, "stop", false, `{"v":1,"id":"a"}`, ""}}},
		{"stopped with everything", []step{{0, 0, "run", false, run("a", "9"), started}, {10, 0, "stop", false, `{"v":1,"id":"*"}`, "off 1, " + report("a", "stopped", `,"seconds":0.010`)}}},
		{"a stop that cannot be read", []step{{0, 0, "run", false, run("a", "9"), started}, {10, 0, "stop", false, `stop!`, "off 1, " + report("a", "stopped", `,"seconds":0.010`)}}},
		{"no runs at all", []step{{0, 0, "run", false, ``, ""}, {0, 0, "run", false, `on`, ""}, {0, 0, "run", false, `[1]`, ""}, {0, 0, "run", false, `{"v":2,"id":"a","seconds":1}`, ""},
			{0, 0, "run", false, `{"id":"a","seconds":1}`, ""}, {0, 0, "run", false, `{"v":1,"seconds":1}`, ""}, {0, 0, "run", false, `{"v":1,"id":"*","seconds":1}`, ""}, {0, 0, "run", false, `{"v":1,"id":"","seconds":1}`, ""},
			{0, 0, "run", false, `{"v":1,"id":"a"}`, ""}, {0, 0, "run", false, `{"v":1,"id":"a","seconds":0}`, ""}, {0, 0, "run", false, `{"v":1,"id":"a","seconds":-1}`, ""}, {0, 0, "run", false, `{"v":1,"id":"a","seconds":1e3}`, ""},
			{0, 0, "run", false, `{"v":1,"id":"a","seconds":"1"}`, ""}, {0, 0, "run", false, `{"v":1,"id":"a","seconds":NaN}`, ""}, {0, 0, "run", false, `{"v":1,"id":"a","seconds":1`, ""}, {0, 0, "run", false, `{"v":1,"id":"a","seconds":1}}`, ""},
			{0, 0, "run", false, `{"v":1,"id":"a\"","seconds":1}`, ""}, {0, 0, "run", false, `{"v":1,"id":"` + strings.Repeat("a", 65) + `","seconds":1}`, ""}}},
		{"what it does not know is skipped", []step{{0, 0, "run", false, `{"x":{"id":"no","y":["}",{"seconds":9}]},"v": 1 ,"id" :"a", "seconds":1.0 , "z":"\"id\":"}`, started}}},
		{"the longest id", []step{{0, 0, "run", false, `{"v":1,"id":"` + strings.Repeat("a", 64) + `","seconds":1}`, "on 1, " + report(strings.Repeat("a", 64), "started", "")}}},
	} {
		t.Run(c.name, func(t *testing.T) {
			b := startBoard(t, driver(t), "2", "60000")
			defer b.end()
			first := b.do(0, 0, "tick", 0, false, "")
			if fmt.Sprint(first) != "[off 1 off 2]" {
				t.Errorf("at its start the board does %v; want everything off", first)
			}
			for i, s := range c.steps {
				if got := plain(b.do(s.ms, s.unix, s.verb, 1, s.retained, s.payload)); got != s.want {
					t.Errorf("step %d, %s %s:\n got %s\nwant %s", i, s.verb, s.payload, got, s.want)
				}
			}
		})
	}
}

var seq = regexp.MustCompile(`"seq":\d+`)

// plain joins what a board does, without the numbers of its reports.
func plain(out []string) string { return seq.ReplaceAllString(strings.Join(out, ", "), `"seq":N`) }

func TestReferenceNodeRemembersSixteenIDs(t *testing.T) {
	b := startBoard(t, driver(t), "1", "60000")
	defer b.end()
	run := func(i int) string {
		return plain(b.do(int64(i)*2000, 0, "run", 1, false, fmt.Sprintf(`{"v":1,"id":"r%d","seconds":1}`, i)))
	}
	for i := range 17 {
		if got := run(i); !strings.Contains(got, "started") {
			t.Fatalf("run %d: %s", i, got)
		}
	}
	for i, want := range map[int]string{1: "repeated", 16: "repeated"} {
		if got := run(i); !strings.Contains(got, want) {
			t.Errorf("run %d again: %s; want %s", i, got, want)
		}
	}
	b.do(100000, 0, "tick", 0, false, "")
	if got := plain(b.do(100000, 0, "run", 1, false, `{"v":1,"id":"r0","seconds":1}`)); !strings.Contains(got, "started") {
		t.Errorf("the 17th last id: %s; want it forgotten", got)
	}
}

// The reference node does what the simulated board of the tests does, whatever is asked of both: whoever relies on the one
// may build the other.
func TestReferenceNodeIsTheSimulatedBoard(t *testing.T) {
	path := driver(t)
	rapid.Check(t, func(t *rapid.T) {
		start := time.Date(2027, 3, 2, 9, 0, 0, 0, time.UTC)
		sim, err := simnode.NewBoard(simnode.BoardOptions{RatesMLPerMin: []float64{10}, MaxRun: time.Minute, Boot: 1, IDAware: true, KeepsIDs: true, HasClock: true})
		if err != nil {
			t.Fatalf("%v", err)
		}
		sim.Connect(start)
		b := startBoard(t, path, "1", "60000")
		defer b.end()
		b.do(0, 0, "tick", 0, false, "")
		var ms int64
		for range rapid.IntRange(1, 40).Draw(t, "steps") {
			ms += rapid.Int64Range(0, 30000).Draw(t, "wait") / 1000 * 1000
			now := start.Add(time.Duration(ms) * time.Millisecond)
			// Both end a run on the millisecond if they are asked then: the simulated one by itself, the other at each tick.
			var got []string
			if w, ok := sim.NextWake(); ok && !w.After(now) {
				got = append(got, b.do(w.Sub(start).Milliseconds(), w.Unix(), "tick", 0, false, "")...)
			}
			id := fmt.Sprint("r", rapid.IntRange(0, 20).Draw(t, "id"))
			seconds := rapid.SampledFrom([]string{"0.001", "1", "19.600", "60.000", "60.001", "0", "-1", "100000"}).Draw(t, "seconds")
			until := now.Add(time.Duration(rapid.IntRange(-2, 2).Draw(t, "expires")) * time.Second).Format(time.RFC3339)
			c := simnode.Command{Kind: simnode.Run, Output: 1, Retained: rapid.IntRange(0, 9).Draw(t, "retained") == 0,
				Payload: fmt.Appendf(nil, `{"v":1,"id":%q,"seconds":%s,"volume_ml":1.00,"expires":%q}`, id, seconds, until)}
			verb := "run"
			if rapid.IntRange(0, 4).Draw(t, "verb") == 0 {
				verb, c.Kind, c.Payload = "stop", simnode.Stop, fmt.Appendf(nil, `{"v":1,"id":%q}`, rapid.SampledFrom([]string{"*", id}).Draw(t, "which"))
			}
			got = append(got, b.do(ms, now.Unix(), verb, 1, c.Retained, string(c.Payload))...)
			var want []string
			for _, o := range sim.Receive(now, c) {
				if o.Role == simnode.Report {
					want = append(want, string(o.Payload))
				}
			}
			if w, g := fmt.Sprint(want), fmt.Sprint(reports(got)); w != g {
				t.Fatalf("after %d ms %s %s:\nthe reference node says %s\nthe simulated board   %s", ms, verb, c.Payload, g, w)
			}
		}
	})
}

// reports leaves out what the outputs do.
func reports(lines []string) (out []string) {
	for _, l := range lines {
		if r, ok := strings.CutPrefix(l, "report 1 "); ok {
			out = append(out, r)
		}
	}
	return out
}

// Whatever bytes come, the node neither breaks nor runs for longer than it may, and says nothing that is no JSON.
func TestReferenceNodeTakesAnything(t *testing.T) {
	b := startBoard(t, driver(t), "1", "60000")
	defer b.end()
	random := rand.New(rand.NewPCG(1, 2))
	good := `{"v":1,"id":"r","seconds":19.600,"volume_ml":3.20,` + expires + `,"x":[{"a":"\\\""},1]}`
	on, since := false, int64(0)
	for i := range 3000 {
		payload := []byte(good)
		for range random.IntN(6) {
			switch at := random.IntN(len(payload)); random.IntN(3) {
			case 0:
				payload[at] = byte(random.IntN(256))
			case 1:
				payload = append(payload[:at], payload[min(len(payload), at+1+random.IntN(5)):]...)
			default:
				payload = append(payload[:at], append([]byte(`{}[]":,\0129.`)[:random.IntN(13)], payload[at:]...)...)
			}
			if len(payload) == 0 {
				payload = []byte{' '}
			}
		}
		text := strings.NewReplacer("\n", " ", "\x00", " ").Replace(string(payload))
		ms := int64(i) * 500
		for _, l := range b.do(ms, 0, []string{"run", "stop"}[random.IntN(2)], random.IntN(3), false, text) {
			switch {
			case l == "on 1":
				on, since = true, ms
			case l == "off 1":
				on = false
			case strings.HasPrefix(l, "report "):
				if _, body, _ := strings.Cut(strings.TrimPrefix(l, "report "), " "); !json.Valid([]byte(body)) {
					t.Fatalf("after %q the node says %q", text, l)
				}
			}
		}
		if on && ms-since > 60000 {
			t.Fatalf("an output is on for %d ms", ms-since)
		}
	}
}
