package main

import (
	"bufio"
	"context"
	"encoding/json"
	"errors"
	"fmt"
	"io"
	"strings"
	"time"

	"aliquot/bridge/commission"
	"aliquot/bridge/machine"
	"aliquot/safety"
)

// talk holds a session on a terminal. Everything that it decides is in package commission.
type talk struct {
	l     loaded
	c     *client
	w     *watching
	std   stream
	live  bool // lines may be written over
	lines chan string
	left  context.Context    // ends when nobody is there any more
	leave context.CancelFunc //
}

func newTalk(ctx context.Context, l loaded, c *client, w *watching, std stream) *talk {
	t := &talk{l: l, c: c, w: w, std: std, live: onTerminal(std), lines: make(chan string)}
	t.left, t.leave = context.WithCancel(ctx)
	go t.listen(std.in)
	return t
}

// listen reads lines until the terminal goes away. It ends with the process: a read cannot be interrupted.
func (t *talk) listen(in io.Reader) {
	defer t.leave()
	r := bufio.NewReader(in)
	for {
		text, err := r.ReadString('\n')
		if err != nil && text == "" {
			return
		}
		select {
		case t.lines <- strings.TrimRight(text, "\r\n"):
		case <-t.left.Done():
			return
		}
	}
}

// say writes lines; whoever cannot be written to has left.
func (t *talk) say(lines []string) {
	for _, l := range lines {
		if _, err := fmt.Fprintln(t.std.out, l); err != nil {
			t.leave()
			return
		}
	}
}

// run holds the session to its end.
func (t *talk) run(ctx context.Context, s commission.Session, out commission.Out) error {
	defer t.leave()
	for {
		if out.Wants == commission.Line {
			t.forget()
		}
		t.say(out.Say)
		var err error
		switch out.Wants {
		case commission.Nothing:
			return nil
		case commission.Line:
			s, out, err = t.line(s, out.Prompt)
		case commission.Answer:
			s, out, err = t.answer(s, out.Send)
		case commission.RunEnd:
			s, out, err = t.runEnd(s, out.Run)
		}
		if err != nil {
			var f failure
			errors.As(err, &f)
			fmt.Fprintf(t.std.err, "\n\naliquot: %s\n", err)
			t.say(s.Left())
			return failure{f.code, errors.New("")}
		}
	}
}

func (t *talk) line(s commission.Session, prompt string) (commission.Session, commission.Out, error) {
	fmt.Fprint(t.std.out, "\n"+prompt+" ")
	select {
	case text := <-t.lines:
		s, out := s.Typed(text, t.w.facts())
		return s, out, nil
	case <-t.left.Done():
		return s, commission.Out{}, fail(exitFailed, "left; no pump was running")
	}
}

// forget drops what was typed before there was a question: an impatient Enter must not answer the next one.
func (t *talk) forget() {
	for t.live {
		select {
		case <-t.lines:
		case <-time.After(20 * time.Millisecond):
			return
		}
	}
}

// answer sends a request. Who leaves before the answer may have started a pump: it is stopped.
func (t *talk) answer(s commission.Session, q commission.Send) (commission.Session, commission.Out, error) {
	if !t.w.running() {
		return s, commission.Out{}, fail(exitNoReply, "the service does not run any more; nothing was asked of it. Start it with aliquot run")
	}
	if !t.back() {
		return s, commission.Out{}, fail(exitNoReply, "no connection to the broker; nothing was asked of the service, and no pump was started")
	}
	select {
	case <-t.w.gone: // and came back
	default:
	}
	r, err := t.c.ask(t.left, q.Verb, q.Fields)
	if err != nil {
		return s, commission.Out{}, t.abandon(err.Error(), 0)
	}
	a := commission.Reply{OK: r.OK, Code: safety.Code(r.Code), Text: r.Text}
	if len(r.Result) > 0 {
		into := any(&a.Result)
		if a.Code == safety.Started {
			into = &a.Run
		}
		if err := json.Unmarshal(r.Result, into); err != nil {
			return s, commission.Out{}, t.abandon("the answer cannot be read: "+err.Error(), 0)
		}
	}
	if a.OK && a.Code != safety.Started {
		t.w.settle()
	}
	s, out := s.Answered(a, t.w.facts())
	return s, out, nil
}

// runEnd follows a run to its end. Enter stops it; so does everything that goes wrong.
func (t *talk) runEnd(s commission.Session, run machine.RunResult) (commission.Session, commission.Out, error) {
	begun, late := time.Now(), time.After(longEnough(run.Seconds))
	tick := time.NewTicker(200 * time.Millisecond)
	defer tick.Stop()
	longest := time.Duration(run.Seconds * float64(time.Second))
	for {
		var trouble string
		select {
		case m := <-t.c.heard:
			if e, ok := endOf(m.Payload, run.Run); ok {
				if e.Outcome == machine.Finished {
					t.bar(1, fmt.Sprintf("%s s, %s", trimmed(run.Seconds), e.Outcome), true)
				} else {
					t.bar(float64(time.Since(begun))/float64(longest), string(e.Outcome), true)
				}
				if e.Purpose == machine.TestRun {
					t.w.settle()
				}
				s, out := s.Ended(e, t.w.facts())
				return s, out, nil
			}
			continue
		case <-tick.C:
			ran := min(time.Since(begun), longest)
			t.bar(float64(ran)/float64(longest), fmt.Sprintf("%.1f of %s s  Enter stops", ran.Seconds(), trimmed(run.Seconds)), false)
			continue
		case <-t.lines:
			_, err := t.c.send(stopWait, machine.VerbStop, t.stopFields())
			if err == nil {
				continue // its end is heard as of any other run
			}
			trouble = err.Error()
		case what := <-t.w.gone:
			trouble = what + " went away"
		case <-t.left.Done():
			trouble = "left"
		case <-late:
			trouble = "the end of the run was not heard"
		}
		return s, commission.Out{}, t.abandon(trouble, longest-time.Since(begun))
	}
}

// endOf reads a message as the end of a run.
func endOf(payload []byte, run string) (machine.RunEvent, bool) {
	var m struct {
		Kind string           `json:"event_type"`
		Data machine.RunEvent `json:"data"`
	}
	ok := json.Unmarshal(payload, &m) == nil && m.Kind == "run_ended" && m.Data.Run == run
	return m.Data, ok
}

func (t *talk) stopFields() map[string]any {
	return map[string]any{"channel": t.w.facts().Channel.ID}
}

// stopWait is how long the service may take to answer a stop before the pump is told directly; backWait, how long a
// broker that went away is waited for.
const (
	stopWait = 3 * time.Second
	backWait = 5 * time.Second
)

// abandon stops the pump first, through the service or without it, and then says what happened.
func (t *talk) abandon(why string, rest time.Duration) error {
	code := exitFailed
	if why != "left" && why != "interrupted" {
		code = exitNoReply
	}
	id := t.w.facts().Channel.ID
	if t.w.running() && t.c.mqtt.Open() {
		if r, err := t.c.askWithin(context.WithoutCancel(t.left), stopWait, machine.VerbStop, t.stopFields()); err == nil && r.OK {
			return fail(code, "%s; the pump was told to stop", why)
		}
	}
	if ch, ok := channelOf(t.l, id); ok && t.back() {
		if err := stopChannel(t.l, t.c, ch); err == nil {
			return fail(code, "%s; the pump's node was told to stop, without the service", why)
		}
	}
	text := "it goes off by itself at the end of its time"
	if rest > 0 {
		text += fmt.Sprintf(", in %.0f s at most", rest.Seconds()+1)
	}
	return fail(exitNoReply, "%s; the stop could not be sent. LOOK at the pump of %s: %s. If it still turns then, pull its plug", why, id, text)
}

// back waits for a broker that went away, and says whether it is there.
func (t *talk) back() bool {
	for until := time.Now().Add(backWait); !t.c.mqtt.Open() && time.Now().Before(until); {
		time.Sleep(100 * time.Millisecond)
	}
	return t.c.mqtt.Open()
}

// barCells is the length of a progress bar.
const barCells = 24

// bar shows how far a run is.
func (t *talk) bar(share float64, text string, last bool) {
	n := int(min(max(share, 0), 1) * barCells)
	line := fmt.Sprintf("  [%s%s] %s", strings.Repeat("#", n), strings.Repeat(".", barCells-n), text)
	switch {
	case last && t.live:
		fmt.Fprintf(t.std.out, "\r%-70s\n", line)
	case last:
		fmt.Fprintln(t.std.out, line)
	case t.live:
		if _, err := fmt.Fprintf(t.std.out, "\r%-70s", line); err != nil {
			t.leave()
		}
	}
}
