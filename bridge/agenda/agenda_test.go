package agenda_test

import (
	"fmt"
	"testing"
	"time"

	"aliquot/bridge/agenda"
)

func TestOrderIsByTimeThenAsPutIn(t *testing.T) {
	var a agenda.Agenda
	if _, ok := a.Next(); ok {
		t.Error("an empty agenda has something next")
	}
	var got []int
	for i, at := range []time.Duration{3, 1, 2, 1, 3} {
		a.Add(at, func() { got = append(got, i) })
	}
	for {
		if _, ok := a.Next(); !ok {
			break
		}
		a.Take()()
	}
	if fmt.Sprint(got) != "[1 3 2 0 4]" {
		t.Errorf("order %v; want by time, then as put in", got)
	}
}

// What is put in while something happens takes its place among the rest.
func TestWhatIsPutInMeanwhile(t *testing.T) {
	var a agenda.Agenda
	var got []int
	a.Add(1, func() {
		got = append(got, 1)
		a.Add(2, func() { got = append(got, 2) })
	})
	a.Add(3, func() { got = append(got, 3) })
	for at, ok := a.Next(); ok; at, ok = a.Next() {
		if at != time.Duration(len(got)+1) {
			t.Fatalf("next is at %d after %v", at, got)
		}
		a.Take()()
	}
	if fmt.Sprint(got) != "[1 2 3]" {
		t.Errorf("order %v", got)
	}
}
