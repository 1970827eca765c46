package node

import (
	"encoding/json"
	"flag"
	"fmt"
	"math"
	"os"
	"strconv"
	"strings"
	"testing"
	"time"

	"aliquot/bridge/machine"
	"aliquot/safety"

	"pgregory.net/rapid"
)

var update = flag.Bool("update", false, "rewrite the golden files")

// Every payload that we send to a node, byte for byte.
func TestCommandsGolden(t *testing.T) {
	var b strings.Builder
	say := func(note, topic string, payload []byte) {
		fmt.Fprintf(&b, "# %s\n%s %s\n", note, topic, payload)
	}
	board, plug, strip := mustCompile(t, boardSpec()), mustCompile(t, plugSpec()), mustCompile(t, stripSpec())
	s := plugSpec()
	s.On, s.Off, s.AutoOff = "id={{.Run}} ms={{.Millis}} ml={{.Millilitres}} out={{.Output}} until={{.Expires}}", "OFF", 60000
	wordy := mustCompile(t, s)

	topic, payload := board.Run(sendRun(1, 7))
	say("board, a run of 3.2 mL in 19.6 s", topic, payload)
	odd := sendRun(3, 8)
	odd.Volume, odd.Duration = 1, 600000
	topic, payload = board.Run(odd)
	say("board, the smallest volume and the longest time", topic, payload)
	topic, payload = board.Stop(machine.StopRuns{Output: 1, Run: odd.Run})
	say("board, stop one run", topic, payload)
	topic, payload = board.Stop(machine.StopRuns{Output: 2, Run: "*"})
	say("board, stop everything", topic, payload)
	topic, payload = plug.Run(sendRun(1, 7))
	say("plug, the same run", topic, payload)
	topic, payload = plug.Stop(machine.StopRuns{Output: 1, Run: "*", Serial: 7})
	say("plug, off", topic, payload)
	topic, payload = strip.Run(sendRun(0, 9))
	say("strip, output 0", topic, payload)
	topic, payload = strip.Stop(machine.StopRuns{Output: 1, Run: "*"})
	say("strip, output 1 off before any run", topic, payload)
	topic, payload = wordy.Run(sendRun(1, 7))
	say("a relay that takes text, every field", topic, payload)

	const file = "testdata/commands.golden"
	if *update {
		if err := os.WriteFile(file, []byte(b.String()), 0o644); err != nil {
			t.Fatal(err)
		}
	}
	want, err := os.ReadFile(file)
	if err != nil {
		t.Fatal(err)
	}
	if b.String() != string(want) {
		t.Errorf("commands read\n%s\nwant\n%s", b.String(), want)
	}
}

// A board reads back exactly what was commanded: the whole ms and µL, and an expiry that is no later.
func TestRunPayloadIsExact(t *testing.T) {
	board := mustCompile(t, boardSpec())
	rapid.Check(t, func(t *rapid.T) {
		r := sendRun(1, 1)
		r.Duration = safety.Milliseconds(rapid.Int64Range(1, int64(safety.RunMax)).Draw(t, "ms"))
		r.Volume = safety.Microlitres(rapid.Int64Range(1, 5_000_000).Draw(t, "ul"))
		r.Expires = time.Unix(1803978010, rapid.Int64Range(0, 999_999_999).Draw(t, "ns"))
		_, payload := board.Run(r)
		var got struct {
			V       int       `json:"v"`
			ID      string    `json:"id"`
			Seconds float64   `json:"seconds"`
			ML      float64   `json:"volume_ml"`
			Expires time.Time `json:"expires"`
		}
		if err := json.Unmarshal(payload, &got); err != nil {
			t.Fatalf("%s: %v", payload, err)
		}
		if got.V != 1 || got.ID != r.Run || math.Round(got.Seconds*1000) != float64(r.Duration) || math.Round(got.ML*1000) != float64(r.Volume) {
			t.Fatalf("%s; want %v ms and %v µL", payload, r.Duration, r.Volume)
		}
		if late := got.Expires.Sub(r.Expires); late > 0 || late <= -time.Second {
			t.Fatalf("expires %v; want within the second before %v", got.Expires, r.Expires)
		}
	})
}

// A relay never reads a longer time than was commanded, whatever the duration.
func TestSwitchTimeIsExact(t *testing.T) {
	s := plugSpec()
	s.On = "{{.Seconds}} {{.Millis}}"
	plug := mustCompile(t, s)
	rapid.Check(t, func(t *rapid.T) {
		r := sendRun(1, 1)
		r.Duration = safety.Milliseconds(rapid.Int64Range(1, int64(safety.RunMax)).Draw(t, "ms"))
		_, payload := plug.Run(r)
		seconds, millis, _ := strings.Cut(string(payload), " ")
		asSeconds, err1 := strconv.ParseFloat(seconds, 64)
		asMillis, err2 := strconv.ParseInt(millis, 10, 64)
		if err1 != nil || err2 != nil || math.Round(asSeconds*1000) != float64(r.Duration) || asMillis != int64(r.Duration) {
			t.Fatalf("%q for %d ms", payload, r.Duration)
		}
	})
}

func TestThousandths(t *testing.T) {
	for _, c := range []struct {
		v        int64
		decimals int
		want     string
	}{
		{0, 0, "0"}, {0, 3, "0.000"}, {1, 0, "0.001"}, {10, 0, "0.01"}, {19600, 0, "19.6"}, {19600, 2, "19.60"},
		{19600, 3, "19.600"}, {19601, 2, "19.601"}, {600000, 0, "600"}, {-1500, 0, "-1.5"},
	} {
		if got := thousandths(c.v, c.decimals); got != c.want {
			t.Errorf("thousandths(%d, %d) = %s; want %s", c.v, c.decimals, got, c.want)
		}
	}
}

func TestClear(t *testing.T) {
	board, plug := mustCompile(t, boardSpec()), mustCompile(t, plugSpec())
	for _, c := range []struct {
		codec *Codec
		m     machine.ClearRetained
		want  string
	}{
		{board, machine.ClearRetained{Output: 2}, "shed/pumps/2/run"},
		{board, machine.ClearRetained{Output: 2, Stop: true}, "shed/pumps/2/stop"},
		{plug, machine.ClearRetained{Output: 1}, "shed/plug/set"},
		{plug, machine.ClearRetained{Output: 1, Stop: true}, "shed/plug/set"},
	} {
		if got := c.codec.Clear(c.m); got != c.want {
			t.Errorf("Clear(%+v) = %s; want %s", c.m, got, c.want)
		}
	}
}

func TestUnknownOutputIsABug(t *testing.T) {
	defer func() {
		if recover() == nil {
			t.Error("a run on an output that the node does not have went somewhere")
		}
	}()
	mustCompile(t, boardSpec()).Run(sendRun(9, 1))
}

// Whatever template Compile accepts, bounds every run: the payload tells the time, or the relay has its own.
func FuzzTemplate(f *testing.F) {
	for _, seed := range []string{`{"on":true,"s":{{.Seconds}}}`, "{{.Millis}}", "ON", "{{if .Run}}x{{end}}", "{{.Seconds}}0", "{{", "x{{- .Millis -}}y", `{{printf "%d" .Millis}}`} {
		f.Add(seed, "OFF", false)
		f.Add(seed, "OFF {{.Serial}}", true)
	}
	f.Fuzz(func(t *testing.T, on, off string, autoOff bool) {
		s := plugSpec()
		s.On, s.Off = on, off
		if autoOff {
			s.AutoOff = 60000
		}
		c, err := Compile(s)
		if err != nil {
			if c != nil || err.Error() == "" {
				t.Fatalf("refused with %v and still gave a codec", err)
			}
			return
		}
		short, long := sendRun(1, 5), sendRun(1, 5)
		short.Duration, long.Duration = 1500, 1501
		_, a := c.Run(short)
		_, b := c.Run(long)
		_, o := c.Stop(machine.StopRuns{Output: 1, Run: short.Run, Serial: 5})
		if !autoOff && string(a) == string(b) {
			t.Fatalf("on %q reads %q for 1.5 s and for 1.501 s and there is no auto_off", on, a)
		}
		if len(a) == 0 || len(o) == 0 || string(a) == string(o) {
			t.Fatalf("on %q gives %q, off %q gives %q", on, a, off, o)
		}
		if h, handled, err := c.Parse("shed/plug/set", a, false); err != nil || !handled || h.Events[0].(machine.CommandSeen).Serial != 5 {
			t.Fatalf("the echo of %q is not known: %+v %v", a, h, err)
		}
	})
}
