package simnode

import (
	"testing"
	"time"
)

func TestSupplyFeedsUntilItIsToldOff(t *testing.T) {
	at := time.Date(2027, 3, 1, 12, 0, 0, 0, time.UTC)
	s, err := NewSupply(SupplyOptions{Off: func(p []byte) bool { return string(p) == "off" }, BootTime: time.Second})
	if err != nil {
		t.Fatal(err)
	}
	said := func(out []Out) (words string) {
		for _, o := range out {
			words += string(o.Payload) + " "
		}
		return words
	}
	if got := said(s.Connect(at)); got != "1 ON " || !s.Flowing(1) {
		t.Fatalf("it begins with %q, flowing %v", got, s.Flowing(1))
	}
	if got := said(s.Receive(at, Command{Payload: []byte("ON")})); got != "" || s.Counts().Malformed != 1 {
		t.Errorf("an on from the wire: %q", got)
	}
	if got := said(s.Receive(at, Command{Payload: []byte("off")})); got != "OFF " || s.Flowing(1) {
		t.Errorf("off: %q, flowing %v", got, s.Flowing(1))
	}
	s.Reboot(at.Add(time.Minute))
	if got := said(s.Advance(at.Add(2 * time.Minute))); got != "1 OFF ON " || !s.Flowing(1) {
		t.Errorf("it comes back with %q, flowing %v", got, s.Flowing(1))
	}
	s.SetFaults(at.Add(3*time.Minute), Faults{StuckOn: true})
	if got := said(s.Receive(at.Add(3*time.Minute), Command{Payload: []byte("off")})); got != "OFF " || !s.Flowing(1) {
		t.Errorf("a welded contact: %q, flowing %v", got, s.Flowing(1))
	}
	if n := s.Delivered(1); n != 0 || len(s.Drain(nil)) != 0 {
		t.Errorf("a supply delivers %v µL", n)
	}
}

// Behind a supply that is off an output switches and reports, and nothing leaves it.
func TestNothingFlowsWithoutASupply(t *testing.T) {
	at := time.Date(2027, 3, 1, 12, 0, 0, 0, time.UTC)
	r, err := NewRelay(RelayOptions{RatesMLPerMin: []float64{60}, OnOff: func(p []byte) (bool, float64, bool) { return string(p) == "on", 0, true }, AutoOff: 10 * time.Second})
	if err != nil {
		t.Fatal(err)
	}
	r.Receive(at, Command{Output: 1, Payload: []byte("on")})
	r.Feed(at.Add(2*time.Second), false)
	r.Feed(at.Add(7*time.Second), true)
	r.Advance(at.Add(time.Minute))
	if got := r.Delivered(1); got < 4999 || got > 5001 { // 2 s and 3 s at 1 mL/s
		t.Errorf("%.0f µL left, want 5000", got)
	}
}
