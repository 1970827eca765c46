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

// look answers the questions of the placement.
func look(s *terminal) {
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
	look(s)
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
	golden(t, "commission.txt", s.transcript())
	status := must(t, "commission", "alk", "--status", "--format", "json", "-c", r.config)
	if !contains(status, `"next": "finished"`) || strings.Count(status, `"done": true`) != 7 {
		t.Errorf("--status says %s", status)
	}
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
