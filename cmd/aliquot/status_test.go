package main

import (
	"encoding/json"
	"os"
	"strings"
	"syscall"
	"testing"
	"time"
	"unicode/utf8"

	"aliquot/bridge/machine"
	"aliquot/bridge/mqtt/mosquittotest"
	"aliquot/bridge/screen"
)

// TestStatusAndWatch looks at a real service over a real broker, and sees it go.
func TestStatusAndWatch(t *testing.T) {
	t.Parallel()
	b := mosquittotest.Start(t, mosquittotest.Options{})
	r := newRig(t, b, "lookout")
	got := command(t, "status", "-c", r.config)
	if got.code != exitNoReply || !contains(got.out, "NO SERVICE HAS SPOKEN HERE YET") || got.err != "" {
		t.Errorf("before the service ever ran: %s", got)
	}
	r.commission()
	r.nodes()
	p := r.daemon("")
	r.owns(p)

	got = command(t, "status", "-c", r.config)
	if got.code != exitOK {
		t.Fatalf("status: %s", got)
	}
	for _, word := range []string{"LOOKOUT", "The service is online", "alkalinity", "aliquot enter alkalinity VALUE dKH", "alk", "CONTAINERS", "carbonate-jug", "board online"} {
		if !contains(got.out, word) {
			t.Errorf("status does not say %q:\n%s", word, got.out)
		}
	}
	for _, line := range strings.Split(got.out, "\n") {
		if utf8.RuneCountInString(line) > 80 || contains(line, "\x1b") {
			t.Errorf("a line of status is no plain line of 80 columns: %q", line)
		}
	}
	if wide := must(t, "status", "--width", "120", "-c", r.config); len(strings.Split(wide, "\n")) > len(strings.Split(got.out, "\n")) {
		t.Errorf("a wider page is longer:\n%s", wide)
	}
	var seen statusJSON
	if err := json.Unmarshal([]byte(must(t, "status", "--format", "json", "-c", r.config)), &seen); err != nil || !seen.Live || seen.Service != screen.Online || len(seen.Site.Channels) == 0 || seen.Sign == nil {
		t.Errorf("status as JSON: %v, %+v", err, seen)
	}

	log := start(t, "a log of changes", "", "watch", "-c", r.config)
	log.await("watching lookout: the service is online")
	machines := start(t, "changes for machines", "", "watch", "--format", "json", "-c", r.config)
	machines.await(`"service":"online"`)
	r.holdAndRun(log)
	p.terminate()
	p.wait()
	log.await("the service is OFFLINE: nothing is dosed")
	machines.await(`"service":"offline"`)
	got = command(t, "status", "-c", r.config)
	if got.code != exitNoReply || !contains(got.out, "THE SERVICE IS OFFLINE: nothing is dosed") || !contains(got.out, "carbonate-jug") {
		t.Errorf("status of a service that ended: %s", got)
	}
	_ = log.cmd.Process.Signal(os.Interrupt)
	if code := log.code(); code != exitOK {
		t.Errorf("watch ended with %d at an interrupt:\n%s", code, log.out.text())
	}
	_ = machines.cmd.Process.Signal(syscall.SIGTERM)
	if code := machines.code(); code != exitOK {
		t.Errorf("watch ended with %d when it was told to:\n%s", code, machines.out.text())
	}
	for _, line := range strings.Split(strings.TrimSpace(machines.out.text()), "\n") {
		if !json.Valid([]byte(line)) {
			t.Errorf("a line of watch is no JSON: %s", line)
		}
	}
}

// holdAndRun does what a watcher must see.
func (r *rig) holdAndRun(log *process) {
	r.t.Helper()
	must(r.t, "hold", "alk", "30m", "--reason", "feeding", "-c", r.config)
	log.await("channel alk is withheld: no_test, hold")
	must(r.t, "release", "alk", "-c", r.config)
	log.awaitTimes("channel alk is ", 2)
	must(r.t, "enter", "alkalinity", "8.3", "dKH", "-c", r.config)
	log.await("alkalinity of quay: a test was taken")
	must(r.t, "refill", "calcium-jug", "--full", "-c", r.config)
	log.await("container calcium-jug was filled")
	must(r.t, "prime", "alk", "--into", "vessel", "--volume", "1mL", "-c", r.config)
	log.await("channel alk: the run ended, finished")
}

// TestWatchOutlivesItsBroker holds that a watcher says so when the broker goes, and sees the site when it is back.
func TestWatchOutlivesItsBroker(t *testing.T) {
	t.Parallel()
	b := mosquittotest.Start(t, mosquittotest.Options{})
	r := newRig(t, b, "pier")
	got := command(t, "status", "-c", newQuay(t, nil, "nowhere").write(t, "site.yaml"))
	if got.code != exitNoReply || !contains(got.err, "no connection to the broker") || got.out != "" {
		t.Errorf("status without a broker: %s", got)
	}
	log := start(t, "a log of changes", "", "watch", "-c", r.config)
	log.await("watching pier: the service is not heard yet; 0 channels")
	b.Stop()
	log.await("the broker is not there")
	b.Restart()
	log.await("the broker is there again")
}

func TestWatchLinesAreNews(t *testing.T) {
	at := time.Date(2027, 3, 2, 9, 0, 0, 0, time.UTC)
	s := screen.Seen{At: at, Service: screen.Online, Sign: at, View: machine.SiteView{Site: "shed", Probes: []machine.ProbeView{{ID: "ph", Good: true}}}}
	var text, lines strings.Builder
	showText, showLines := changeLog(&text, time.UTC), jsonLines(&lines)
	show := func(s screen.Seen) {
		t.Helper()
		if err := showText(s); err != nil {
			t.Fatal(err)
		}
		if err := showLines(s); err != nil {
			t.Fatal(err)
		}
	}
	show(s)
	later := s
	later.At, later.Sign, later.View.At = at.Add(time.Minute), at.Add(time.Minute), at.Add(time.Minute)
	show(later) // only the time is different
	later.View.Probes = []machine.ProbeView{{ID: "ph", Why: "silent"}}
	show(later)
	want := "2027-03-02 09:00:00  watching shed: the service is online; 0 channels, 0 alerts\n2027-03-02 09:01:00  probe ph has no good reading: silent\n"
	if text.String() != want {
		t.Errorf("the log is\n%s\nwant\n%s", text.String(), want)
	}
	if n := strings.Count(lines.String(), "\n"); n != 2 {
		t.Errorf("%d lines of JSON:\n%s", n, lines.String())
	}
}
