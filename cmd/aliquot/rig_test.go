package main

import (
	"bytes"
	"encoding/json"
	"fmt"
	"os"
	"path/filepath"
	"strings"
	"sync/atomic"
	"testing"
	"text/template"
	"time"

	"aliquot/bridge/ledger"
	"aliquot/bridge/machine"
	"aliquot/bridge/mqtt/mosquittotest"
)

// quay describes the site of a test, see testdata/quay.yaml.tmpl.
type quay struct {
	Site, Broker, User, PasswordFile, CAFile, Ledger string
	AlkPerDay, TracePerDay, TraceSlots, TraceCap     string
	AlkTarget                                        string // empty: 8.0 dKH
	Fed                                              bool   // the timed relay hangs behind a supply relay
	Discovery                                        bool   // announce to dashboards
	Extra                                            string // more of the configuration, behind the rest
	Alerts                                           string // the entry of that name, else empty
	now                                              time.Time
}

// FarSlot is a daily slot at a minute of an hour that is half a day away.
func (q quay) FarSlot(minute int) string {
	return fmt.Sprintf("%d %d * * *", minute, q.now.Add(12*time.Hour).UTC().Hour())
}

// rig is a site at a broker: its configuration, what is heard of it, and who asks.
type rig struct {
	t      *testing.T
	broker *mosquittotest.Server
	quay   quay
	config string
	spy    *party // hears everything of the site
	keeper *party // asks
	from   int    // where the spy's log was when the service was started last
}

// newRig writes the configuration of a site of its own at a broker that everybody may use.
func newRig(t *testing.T, b *mosquittotest.Server, site string, change ...func(*quay)) *rig {
	t.Helper()
	r := &rig{t: t, broker: b, quay: newQuay(t, b, site)}
	for _, c := range change {
		c(&r.quay)
	}
	r.config = r.quay.write(t, "site.yaml")
	r.spy = join(t, b, "", "spy-"+site, site+"/#", "aliquot/"+site+"/#")
	r.keeper = r.spy
	return r
}

func newQuay(t *testing.T, b *mosquittotest.Server, site string) quay {
	q := quay{Site: site, Ledger: filepath.Join(t.TempDir(), "ledger.db"), AlkPerDay: "40 mL", TracePerDay: "2", TraceCap: "1800 mL", now: time.Now()}
	if b != nil {
		q.Broker, q.CAFile = b.URL, b.CAFile
	} else {
		q.Broker = "mqtt://127.0.0.1:1" // nobody listens there
	}
	q.TraceSlots = q.FarSlot(37)
	return q
}

var quayTemplate = template.Must(template.New("quay.yaml.tmpl").Delims("<<", ">>").ParseFiles(filepath.Join("testdata", "quay.yaml.tmpl")))

func (q quay) write(t testing.TB, name string) string {
	t.Helper()
	var b bytes.Buffer
	if err := quayTemplate.Execute(&b, q); err != nil {
		t.Fatal(err)
	}
	return writeFile(t, name, b.String())
}

func writeFile(t testing.TB, name, content string) string {
	t.Helper()
	path := filepath.Join(t.TempDir(), name)
	if err := os.WriteFile(path, []byte(content), 0o600); err != nil {
		t.Fatal(err)
	}
	return path
}

func contains(text, part string) bool { return strings.Contains(text, part) }

// commission imports a small history: channels, else alk and trace, are filled, primed and calibrated.
func (r *rig) commission(channels ...string) {
	r.t.Helper()
	var b strings.Builder
	at := r.quay.now.Add(-time.Hour).UTC()
	line := func(format string, args ...any) {
		at = at.Add(time.Minute)
		fmt.Fprintf(&b, `{"time":%q,`+format+"}\n", append([]any{at.Format(time.RFC3339)}, args...)...)
	}
	if len(channels) == 0 {
		channels = []string{"alk", "trace"}
	}
	for _, channel := range channels {
		container := map[string]string{"alk": "carbonate-jug", "trace": "trace-jug"}[channel]
		line(`"type":"refill","container":%q,"volume_ml":1500`, container)
		line(`"type":"primed","channel":%q`, channel)
		line(`"type":"calibration","channel":%q,"trials":[{"seconds":30,"measured_ml":30},{"seconds":30,"measured_ml":30},{"seconds":30,"measured_ml":30}]`, channel)
	}
	must(r.t, "import", "-c", r.config, writeFile(r.t, "history.jsonl", b.String()))
}

// nodes starts all pump nodes in a process of their own.
func (r *rig) nodes() *process {
	r.t.Helper()
	mark := r.spy.mark()
	p := start(r.t, "the nodes of "+r.quay.Site, "", "simnode", "-c", r.configOf("nodes"), "--rate-error", "0")
	r.spy.await(mark, "the board", on(r.quay.Site+"/board/online", "1"))
	for _, relay := range []string{"timed", "fixed"} {
		r.spy.await(mark, relay, on(r.quay.Site+"/"+relay+"/online", "true"))
	}
	return p
}

// daemon starts the service, and does not wait for anything.
func (r *rig) daemon(kill string) *process {
	r.t.Helper()
	r.from = r.spy.mark()
	return start(r.t, "the service of "+r.quay.Site, kill, "run", "-c", r.config)
}

// owns waits until the service may dose, as far as the site is concerned, and confirms its clock.
func (r *rig) owns(p *process) {
	r.t.Helper()
	r.up(p)
	if a := r.ask(machine.VerbClock, ""); !a.OK {
		r.t.Fatalf("confirming the clock: %s (%s)", a.Text, a.Code)
	}
}

// takeOver takes away the owner record of a service that died, as an operator may who knows that it is dead: the next
// one need not wait for its renewal.
func (r *rig) takeOver() {
	r.t.Helper()
	r.keeper.say(r.topic("owner"), "", true)
}

// isDead kills a service, gives the broker the time to read what it still sent, and takes the site over.
func (r *rig) isDead(p *process) {
	r.t.Helper()
	p.kill()
	p.wait()
	<-time.After(200 * time.Millisecond)
	r.takeOver()
}

// up waits until the service is connected, sure of its ownership, and has heard of its nodes.
func (r *rig) up(p *process) {
	r.t.Helper()
	p.await("this instance owns the site")
	for _, n := range []string{"board", "timed", "fixed"} {
		r.awaitState(r.from, "node/"+n, `"online":true`)
	}
}

// topic gives a topic of the service.
func (r *rig) topic(rest string) string { return "aliquot/" + r.quay.Site + "/" + rest }

var refs atomic.Int64

// ask sends a request; fields are the inside of a JSON object. It gives the answer, or the problem.
func (r *rig) ask(verb machine.Verb, fields string) reply {
	r.t.Helper()
	return r.askAs(fmt.Sprintf("ref-%d", refs.Add(1)), verb, fields)
}

func (r *rig) askAs(ref string, verb machine.Verb, fields string) reply {
	r.t.Helper()
	mark := r.spy.mark()
	r.send(ref, verb, fields)
	return r.answer(mark, ref)
}

// send sends a request and does not wait.
func (r *rig) send(ref string, verb machine.Verb, fields string) {
	r.t.Helper()
	if fields != "" {
		fields = "," + fields
	}
	r.keeper.say(r.topic("ask/"+string(verb)), fmt.Sprintf(`{"ref":%q%s}`, ref, fields), false)
}

// answer waits for the answer to a reference behind a mark.
func (r *rig) answer(mark int, ref string) reply {
	r.t.Helper()
	var a reply
	r.spy.await(mark, "the answer to "+ref, func(h heard) (ok bool) {
		a, ok = r.answerIn(h, ref)
		return ok
	})
	return a
}

// answerIn reads a message as the answer to a reference, or the problem with it.
func (r *rig) answerIn(h heard, ref string) (a reply, ok bool) {
	if h.Topic != r.topic("answer") && h.Topic != r.topic("problem") {
		return a, false
	}
	return a, json.Unmarshal(h.Payload, &a) == nil && a.Ref == ref
}

// awaitState waits for a retained state that holds some text.
func (r *rig) awaitState(mark int, what, text string) heard {
	r.t.Helper()
	return r.spy.await(mark, what+" with "+text, on(r.topic("state/"+what), text))
}

// channel is the newest state of a channel behind a mark for which wanted says yes.
func (r *rig) channel(mark int, id string, wanted func(machine.ChannelView) bool) machine.ChannelView {
	r.t.Helper()
	var v machine.ChannelView
	r.spy.await(mark, "a state of channel "+id, func(h heard) bool {
		v = machine.ChannelView{}
		return h.Topic == r.topic("state/channel/"+id) && json.Unmarshal(h.Payload, &v) == nil && wanted(v)
	})
	return v
}

// rows reads the ledger, beside the service or without it.
func (r *rig) rows() []machine.Row {
	r.t.Helper()
	book, err := ledger.Open(ledger.Options{Path: r.quay.Ledger, ReadOnly: true})
	if err != nil {
		r.t.Fatal(err)
	}
	defer book.Close()
	var rows []machine.Row
	if err := book.Each(1, func(row machine.Row) error { rows = append(rows, row); return nil }); err != nil {
		r.t.Fatal(err)
	}
	return rows
}

// runs lists the runs in the ledger, and the last outcome of each.
func (r *rig) runs() (reserved []machine.RunReserved, ended map[string]machine.RunEnded) {
	r.t.Helper()
	ended = map[string]machine.RunEnded{}
	for _, row := range r.rows() {
		switch b := row.Body.(type) {
		case machine.RunReserved:
			reserved = append(reserved, b)
		case machine.RunEnded:
			ended[b.Run] = b
		}
	}
	return reserved, ended
}
