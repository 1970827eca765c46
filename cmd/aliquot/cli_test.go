package main

import (
	"encoding/json"
	"os"
	"path/filepath"
	"reflect"
	"strings"
	"testing"

	"aliquot/bridge/mqtt/mosquittotest"
)

// commandNames lists every command as its flags' names give it.
func commandNames() []string {
	var names []string
	for f := range reflect.TypeFor[commands]().Fields() {
		if _, ok := f.Tag.Lookup("cmd"); !ok {
			continue
		}
		name := strings.ToLower(f.Name[:1])
		for _, r := range f.Name[1:] {
			if r >= 'A' && r <= 'Z' {
				name += "-"
			}
			name += strings.ToLower(string(r))
		}
		names = append(names, name)
	}
	return names
}

func TestHelp(t *testing.T) {
	t.Parallel()
	names := commandNames()
	if len(names) < 15 {
		t.Fatalf("only %d commands: %v", len(names), names)
	}
	for _, args := range [][]string{{}, {"--help"}} {
		got := command(t, args...)
		if got.code != exitOK {
			t.Errorf("aliquot %v: %s", args, got)
		}
		for _, name := range names {
			if !contains(got.out, "  "+name) {
				t.Errorf("the help does not mention %s:\n%s", name, got.out)
			}
		}
		for _, g := range groups {
			if !contains(got.out, g.Title) {
				t.Errorf("the help has no group %q", g.Title)
			}
		}
	}
	for _, name := range names {
		if got := command(t, name, "--help"); got.code != exitOK || !contains(got.out, "Usage: aliquot "+name) || !contains(got.out, "--config") {
			t.Errorf("aliquot %s --help: %s", name, got)
		}
	}
}

func TestVersion(t *testing.T) {
	t.Parallel()
	got := command(t, "version")
	if fields := strings.Fields(got.out); got.code != exitOK || len(fields) != 2 || fields[0] != "aliquot" {
		t.Errorf("version: %s", got)
	}
}

// TestExitCodes holds the codes that README.md lists, but for those of a working service.
func TestExitCodes(t *testing.T) {
	t.Parallel()
	q := newQuay(t, nil, "codes")
	good, empty := q.write(t, "site.yaml"), writeFile(t, "empty.jsonl", "")
	bad := writeFile(t, "bad.yaml", "site: bad\n")
	for _, c := range []struct {
		name string
		args []string
		code int
		word string
	}{
		{"good configuration", []string{"check", "-c", good}, exitOK, "the configuration is accepted"},
		{"the schema needs no configuration", []string{"check", "--schema"}, exitOK, `"$schema": "https://json-schema.org`},
		{"broken history", []string{"plan", "-c", good, "--at", "2027-03-02T00:00:00Z", "--history", writeFile(t, "broken.jsonl", `{"time":"2027-03-01T00:00:00Z","type":"dose"}`)}, exitFailed, `broken.jsonl:1: `},
		{"import of a broken history", []string{"import", "-c", good, writeFile(t, "broken.jsonl", "nonsense\n")}, exitFailed, "nothing was imported"},
		{"import from the future", []string{"import", "-c", good, writeFile(t, "future.jsonl", `{"time":"2150-03-01T00:00:00Z","type":"primed","channel":"alk"}`)}, exitFailed, "in the future"},
		{"unknown command", []string{"dose"}, exitUsage, "dose"},
		{"unknown flag", []string{"check", "--colour"}, exitUsage, "--colour"},
		{"missing argument", []string{"refill"}, exitUsage, "container"},
		{"wrong choice", []string{"prime", "alk", "--into", "bucket"}, exitUsage, "vessel"},
		{"wrong time", []string{"plan", "-c", good, "--at", "tomorrow", "--history", empty}, exitUsage, "RFC 3339"},
		{"wrong since", []string{"history", "-c", good, "--since", "yesterday"}, exitUsage, "RFC 3339"},
		{"volume without a unit", []string{"refill", "carbonate-jug", "--add", "500", "-c", good}, exitUsage, "unit"},
		{"volume with a comma", []string{"refill", "carbonate-jug", "--add", "4,5L", "-c", good}, exitUsage, "use a point as decimal mark"},
		{"field without a value", []string{"ask", "run", "channel", "-c", good}, exitUsage, "field=value"},
		{"trial without a volume", []string{"calibrate", "alk", "--trial", "60s", "-c", good}, exitUsage, "60s=9.8mL"},
		{"density of nothing known", []string{"calibrate", "alk", "--trial", "60s=10g", "--density", "1.05", "-c", good}, exitUsage, "--density"},
		{"water of no temperature", []string{"calibrate", "alk", "--trial", "60s=10g", "--water", "20", "-c", good}, exitUsage, "--water"},
		{"sample of no temperature", []string{"enter", "salinity", "53", "mS/cm", "--at-temperature", "warm", "-c", good}, exitUsage, "--at-temperature"},
		{"neither time nor trials", []string{"calibrate", "alk", "-c", good}, exitUsage, "--for"},
		{"no such node", []string{"prove", "bench", "-c", good}, exitUsage, "bench"},
		{"no node to simulate", []string{"simnode", "--node", "bench", "-c", good}, exitUsage, "no such node"},
		{"speed of a demo", []string{"demo", "--speed", "0"}, exitUsage, "--speed"},
		{"no configuration", []string{"check", "-c", filepath.Join(t.TempDir(), "none.yaml")}, exitConfig, "none.yaml"},
		{"bad configuration", []string{"run", "-c", bad}, exitConfig, "nothing was started"},
		{"no ledger", []string{"history", "-c", newQuay(t, nil, "none").write(t, "site.yaml")}, exitLedger, "opening the ledger"},
		{"no broker", []string{"ask", "clock", "-c", good}, exitNoReply, "no connection to the broker"},
		{"no broker to stop at", []string{"stop-all", "-c", good}, exitNoReply, "no connection to the broker"},
	} {
		t.Run(c.name, func(t *testing.T) {
			t.Parallel()
			got := command(t, c.args...)
			if got.code != c.code || !contains(got.out+got.err, c.word) {
				t.Errorf("aliquot %s: must end with code %d and say %q: %s", strings.Join(c.args, " "), c.code, c.word, got)
			}
			if c.code != exitOK && got.err == "" {
				t.Error("a failure must say why on standard error")
			}
		})
	}
}

// TestNoService asks at a broker at which no service answers.
func TestNoService(t *testing.T) {
	t.Parallel()
	q := newQuay(t, mosquittotest.Start(t, mosquittotest.Options{}), "nobody")
	got := command(t, "ask", "clock", "-c", q.write(t, "site.yaml"))
	if got.code != exitNoReply || !contains(got.err, "no answer from the service") {
		t.Errorf("asking nobody: %s", got)
	}
}

// TestWrongPassword connects with a password that the broker does not know: it says so, and does not retry for ever.
func TestWrongPassword(t *testing.T) {
	t.Parallel()
	q := newQuay(t, mosquittotest.Start(t, mosquittotest.Options{Users: users()}), "wrong-password")
	q.User, q.PasswordFile = "keeper", writeFile(t, "password", "a guess\n")
	got := command(t, "ask", "clock", "-c", q.write(t, "site.yaml"))
	if got.code != exitNoReply || !contains(got.err, "no connection to the broker") || contains(got.err, "a guess") {
		t.Errorf("a wrong password: %s", got)
	}
}

// TestImportOnce imports a history twice, in part under ids of its own: nothing is added the second time.
func TestImportOnce(t *testing.T) {
	t.Parallel()
	config := newQuay(t, nil, "twice").write(t, "site.yaml")
	file := writeFile(t, "history.jsonl", `{"time":"2026-01-01T08:00:00Z","type":"refill","container":"carbonate-jug","volume_ml":1500}
{"time":"2026-01-01T08:05:00Z","type":"primed","channel":"alk"}
{"time":"2026-01-01T08:10:00Z","type":"run","id":"one","channel":"alk","volume_ml":2,"outcome":"finished"}
{"time":"2026-01-01T09:10:00Z","type":"run","channel":"alk","volume_ml":2,"outcome":"finished"}
`)
	if got := must(t, "import", "-c", config, file); !contains(got, "4 lines imported, 0 known already") {
		t.Errorf("the first import says %q", got)
	}
	export := must(t, "history", "-c", config, "--format", "jsonl")
	if got := must(t, "import", "-c", config, file); !contains(got, "0 lines imported, 4 known already") {
		t.Errorf("the second import says %q", got)
	}
	if got := must(t, "import", "-c", config, writeFile(t, "export.jsonl", export)); !contains(got, "0 lines imported, 4 known already") {
		t.Errorf("importing the export says %q", got)
	}
	if got := must(t, "history", "-c", config, "--format", "jsonl"); got != export {
		t.Errorf("the history changed from\n%sto\n%s", export, got)
	}
	older := writeFile(t, "older.jsonl", `{"time":"2025-12-31T08:00:00Z","type":"primed","channel":"alk"}`+"\n")
	if got := command(t, "import", "-c", config, older); got.code != exitFailed || !contains(got.err, "older than the ledger's newest row") {
		t.Errorf("a line from before the ledger's newest row: %s", got)
	}
}

// golden compares a text with its golden file.
func golden(t *testing.T, name, got string) {
	t.Helper()
	path := filepath.Join("testdata", name)
	if *update {
		if err := os.MkdirAll(filepath.Dir(path), 0o755); err != nil {
			t.Fatal(err)
		}
		if err := os.WriteFile(path, []byte(got), 0o644); err != nil {
			t.Fatal(err)
		}
		return
	}
	want, err := os.ReadFile(path)
	if err != nil {
		t.Fatalf("%v; go test -update makes it", err)
	}
	if got != string(want) {
		t.Errorf("%s differs (go test -update rewrites it); got:\n%s", path, got)
	}
}

// TestCheckGolden shows what `check` says of the sites that are shipped, and of one with limewater and late alkalinity.
func TestCheckGolden(t *testing.T) {
	t.Parallel()
	sites, err := filepath.Glob(filepath.Join("..", "..", "deploy", "sites", "*.yaml"))
	if err != nil || len(sites) == 0 {
		t.Fatalf("no sites: %v", err)
	}
	sites = append(sites, filepath.Join("..", "..", "testdata", "config", "good", "evaporation.yaml"))
	for _, site := range sites {
		name := strings.TrimSuffix(filepath.Base(site), ".yaml")
		t.Run(name, func(t *testing.T) {
			t.Parallel()
			folder, err := filepath.Abs(filepath.Dir(site))
			if err != nil {
				t.Fatal(err)
			}
			for format, ext := range map[string]string{"text": ".txt", "json": ".json"} {
				out := must(t, "check", "-c", site, "--format", format)
				golden(t, filepath.Join("check", name+ext), strings.ReplaceAll(out, folder+string(filepath.Separator), ""))
				if format == "json" && !json.Valid([]byte(out)) {
					t.Error("the output is not JSON")
				}
			}
		})
	}
}

// TestCheckTellsAll has a configuration with several mistakes: each is told in one go, with its place.
func TestCheckTellsAll(t *testing.T) {
	t.Parallel()
	q := newQuay(t, nil, "mistakes")
	good, err := os.ReadFile(q.write(t, "site.yaml"))
	if err != nil {
		t.Fatal(err)
	}
	text := string(good)
	for _, m := range []struct{ right, wrong string }{
		{"timezone: UTC", "timezone: Mars/Olympus"},
		{"net_volume: 400 L", "net_volume: 400"},
		{"smallest_run: 1 mL, per_run: 4 mL, per_day: 40 mL", "smallest_run: 1 mL, per_rum: 4 mL, per_day: 40 mL"},
		{"per_run: 1.5 mL, per_day: 10 mL", "per_run: 1,5 mL, per_day: 10 mL"},
		{"container: trace-jug", "container: trace-jog"},
		{"auto_off: 3s", "auto_off: 3h"},
	} {
		if strings.Count(text, m.right) == 0 {
			t.Fatalf("the configuration has no %q", m.right)
		}
		text = strings.Replace(text, m.right, m.wrong, 1)
	}
	file := writeFile(t, "site.yaml", text)
	got := command(t, "check", "-c", file)
	if got.code != exitConfig || got.out != "" {
		t.Errorf("check of a bad configuration: %s", got)
	}
	for _, want := range []string{"timezone: ", "Mars/Olympus", "systems.quay.net_volume: ", "did you mean per_run", "channels.iodine.limits", "decimal comma",
		"trace-jog", "did you mean trace-jug", "nodes.fixed.auto_off: ", "problems in the configuration; nothing was started"} {
		if !contains(got.err, want) {
			t.Errorf("check does not say %q", want)
		}
	}
	for line := range strings.Lines(strings.TrimPrefix(got.err, "aliquot: ")) {
		if !contains(line, "nothing was started") && !strings.HasPrefix(line, file+":") {
			t.Errorf("a problem without its place: %s", line)
		}
	}
	if t.Failed() {
		t.Log(got.err)
	}
}
