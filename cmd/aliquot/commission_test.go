package main

import (
	"strings"
	"testing"

	"aliquot/bridge/machine"
	"aliquot/bridge/mqtt/mosquittotest"
)

// berth is a site with a broker of its own, simulated nodes and a service, and nothing commissioned.
func berth(t *testing.T, site string) (*rig, *process) {
	t.Helper()
	r := newRig(t, mosquittotest.Start(t, mosquittotest.Options{}), site)
	r.nodes()
	p := r.daemon("")
	r.owns(p)
	return r, p
}

// lookAtPlacement answers the questions of the placement.
func lookAtPlacement(s *terminal) {
	s.t.Helper()
	for _, question := range []string{"(1/7)", "(2/7)", "(3/7)", "(4/7)", "(5/7)", "(6/7)", "(7/7)"} {
		s.types(question, "y")
	}
}

// TestCommissionInATerminal takes a channel from nothing to its schedule, through a real terminal.
func TestCommissionInATerminal(t *testing.T) {
	t.Parallel()
	r, _ := berth(t, "slipway")
	s := inTerminal(t, "commission", "alk", "-c", r.config)
	s.types("Your name", "")
	s.expect("1 to 64 characters")
	s.types("Your name", "Ada")
	s.types("(1/7)", "perhaps")
	s.expect("y for yes")
	s.types("(1/7)", "n")
	s.expect("worst mistake")
	lookAtPlacement(s)
	s.types("What does carbonate-jug hold now?", "full")
	s.types("Enter runs the pump", "")
	s.types("stand still now?", "y")
	s.types("move from the container", "y")
	s.types("Enter pumps 2.35 mL", "")
	s.types("Liquid at the outlet?", "n")
	s.types("Enter pushes 1 mL more", "")
	s.types("Liquid at the outlet?", "y")
	s.types("Cylinder or scale?", "c")
	s.types("Trial 1.", "2s")
	s.types("cylinder show?", "2,0")
	s.expect("point")
	s.types("cylinder show?", "2.0 mL")
	s.types("Enter: next trial", "")
	s.types("Trial 2.", "")
	s.types("cylinder show?", "2.2")
	s.types("Enter: next trial", "r 2")
	s.types("Trial 2.", "")
	s.types("cylinder show?", "2.02")
	s.types("Enter: next trial", "")
	s.types("Trial 3.", "")
	s.types("cylinder show?", "1.98")
	s.types("Enter: use these", "")
	s.types("Enter gives 1 mL", "")
	s.types("cylinder show?", "0.99")
	s.types("Do you agree", "y")
	s.types("Do you agree", "yes")
	s.expect("Channel alk is commissioned.")
	if code := s.code(); code != exitOK {
		t.Errorf("exit code %d", code)
	}
	golden(t, "commission.txt", s.screenText())
	status := must(t, "commission", "alk", "--status", "--format", "json", "-c", r.config)
	if !contains(status, `"next": "finished"`) || strings.Count(status, `"done": true`) != 7 {
		t.Errorf("--status says %s", status)
	}
	proveInATerminal(t, r)
	var placed, agreed machine.Accepted
	for _, row := range r.rows() {
		if b, ok := row.Body.(machine.Accepted); ok && row.By == "Ada" {
			if b.What == machine.Placement {
				placed = b
			} else {
				agreed = b
			}
		}
	}
	if !contains(placed.Text, "right contents: yes") || !contains(placed.Text, "lift 0.2 m: yes") || !contains(agreed.Text, "test run of 1 mL gave 0.99 mL") {
		t.Errorf("recorded are %+v and %+v", placed, agreed)
	}
}

// proveInATerminal has a relay with a time of its own show that it goes off by itself (H-02).
func proveInATerminal(t *testing.T, r *rig) {
	t.Helper()
	s := inTerminal(t, "commission", "iodine", "-c", r.config, "--by", "Bo")
	lookAtPlacement(s)
	s.types("What does iodine-jug hold now?", "400 mL")
	s.expect("it must go off by itself after 3 s")
	mark := r.spy.mark()
	turn(s)
	s.types("Enter pumps", "q")
	s.expect("Done and recorded: placement, contents, direction.")
	if code := s.code(); code != exitOK {
		t.Errorf("q ends with exit code %d", code)
	}
	proven := r.awaitState(mark, "node/fixed", `"proven":"`)
	for _, c := range r.commands(mark) {
		if c.output == "fixed" && c.stop && c.at.Before(proven.at) {
			t.Error("a relay was told to go off while it had to prove that it does so by itself")
		}
	}
	if said := must(t, "commission", "iodine", "--status", "-c", r.config); !contains(said, "Next is priming: aliquot commission iodine") {
		t.Errorf("--status says %s", said)
	}
}

// TestLeavingStopsThePump interrupts a session in each way there is. The pump stops first, nothing that was done is lost,
// and the next session goes on.
func TestLeavingStopsThePump(t *testing.T) {
	t.Parallel()
	r, p := berth(t, "mooring")
	session := func() *terminal {
		s := inTerminal(t, "commission", "alk", "-c", r.config, "--by", "Ada")
		s.expect("Commissioning of channel alk")
		return s
	}
	stopped := func(mark int, how string) {
		t.Helper()
		r.spy.await(mark, "the board's stop after "+how, on("mooring/board/1/report", `"state":"stopped"`))
	}
	started := func(s *terminal) int {
		mark := r.spy.mark()
		s.expect("Enter stops it")
		r.spy.await(mark, "the board's start", on("mooring/board/1/report", `"state":"started"`))
		return mark
	}

	s := session()
	s.types("(1/7)", "y")
	s.expect("(2/7)")
	s.keys("\x03")
	s.expect("left; no pump was running")
	s.expect("Nothing is done yet. Next is placement. To go on: aliquot commission alk")
	if code := s.code(); code != exitFailed {
		t.Errorf("Ctrl-C at a question: exit code %d", code)
	}

	s = session()
	lookAtPlacement(s)
	s.types("What does carbonate-jug hold now?", "full")
	s.types("Enter runs the pump", "")
	mark := started(s)
	s.keys("\x03")
	stopped(mark, "Ctrl-C")
	s.expect("left; the pump was told to stop")
	s.expect("Done and recorded: placement, contents. Next is direction.")

	s = session()
	s.expect("Done already: placement, contents.")
	turn(s)
	s.types("Enter pumps", "14 mL")
	mark = started(s)
	s.keys("\n")
	stopped(mark, "Enter")
	s.types("Liquid at the outlet?", "n")
	s.types("Enter pushes", "14 mL")
	mark = started(s)
	s.hangUp()
	stopped(mark, "a hang-up")

	s = session()
	turn(s)
	s.types("Enter pumps", "")
	s.types("Liquid at the outlet?", "y")
	s.types("Cylinder or scale?", "c")
	s.types("Trial 1.", "2s")
	s.types("cylinder show?", "2.0")
	s.types("next trial", "")
	s.types("Trial 2.", "10s")
	mark = started(s)
	p.kill()
	stopped(mark, "the service's death")
	s.expect("the service went away; the pump's node was told to stop, without the service")
	s.expect("Next is calibration. To go on: aliquot commission alk --trial 2s=2mL")
	if code := s.code(); code != exitNoReply {
		t.Errorf("the service's death: exit code %d", code)
	}

	if got := command(t, "commission", "alk", "-c", r.config); got.code != exitNoReply || !contains(got.err, "the service does not run") {
		t.Errorf("without a service: %s", got)
	}
	r.takeOver()
	p = r.daemon("")
	r.owns(p)
	s = inTerminal(t, "commission", "alk", "-c", r.config, "--by", "Ada", "--trial", "2s=2mL")
	s.types("next trial", "")
	s.types("Trial 2.", "10s")
	started(s)
	r.broker.Kill()
	s.expect("the broker went away; the stop could not be sent. LOOK at the pump of alk: it goes off by itself")
	s.expect("Next is calibration")
	if code := s.code(); code != exitNoReply {
		t.Errorf("the broker's death: exit code %d", code)
	}
	if got := command(t, "commission", "alk", "-c", r.config); got.code != exitNoReply || !contains(got.err, "no connection to the broker") {
		t.Errorf("without a broker: %s", got)
	}
}

// turn watches the pump turn.
func turn(s *terminal) {
	s.t.Helper()
	s.types("Enter runs the pump", "")
	s.types("stand still now?", "y")
	s.types("move from the container", "y")
}
