package machine_test

import (
	"testing"
	"time"

	"aliquot/bridge/machine"
	"aliquot/safety"
)

// What commissioning leaves behind is in the channel's state, survives a fold, and ends with what it rested on.
func TestHandover(t *testing.T) {
	r := newRig(t, previews, noon)
	r.boot()
	early := r.ask(machine.VerbAccept, machine.Request{What: machine.Commissioned, Channel: "mg", Text: "seen"})
	if early.OK || early.Code != safety.NoProof {
		t.Errorf("an unproven channel is commissioned: %+v", early)
	}
	r.commission()
	v := r.channel("alk")
	if v.PlacementChecked != nil || v.TestRun != nil || v.Commissioned != nil {
		t.Fatalf("nobody looked at anything: %v %v %v", v.PlacementChecked, v.TestRun, v.Commissioned)
	}
	if a := r.ask(machine.VerbAccept, machine.Request{What: machine.Placement, Channel: "alk"}); a.Code != safety.BadPayload {
		t.Errorf("a placement without words answers %s", a.Code)
	}
	if a := r.ask(machine.VerbAccept, machine.Request{What: machine.Placement, Channel: "alc", Text: "x"}); a.Code != safety.UnknownName {
		t.Errorf("the placement of no channel answers %s", a.Code)
	}
	r.must(machine.VerbAccept, machine.Request{What: machine.Placement, Channel: "alk", Text: "lift 0.4 m"})
	volume := 1.0
	r.must(machine.VerbRun, machine.Request{Channel: "alk", Kind: string(machine.TestRun), Into: string(machine.IntoVessel), VolumeML: &volume})
	r.advance(2 * time.Minute)
	r.must(machine.VerbAccept, machine.Request{What: machine.Commissioned, Channel: "alk", Text: "40 mL a day"})
	v = r.channel("alk")
	if v.PlacementChecked == nil || v.TestRun == nil || v.Commissioned == nil {
		t.Fatalf("placement %v, test run %v, commissioned %v; want all three", v.PlacementChecked, v.TestRun, v.Commissioned)
	}
	f := machine.NewFold(previews)
	for _, row := range r.rows {
		f.Add(row)
	}
	folded := f.State()
	w := machine.Snapshot(&folded).Channels[0]
	if w.PlacementChecked == nil || w.TestRun == nil || w.Commissioned == nil || !w.Commissioned.Equal(*v.Commissioned) {
		t.Errorf("the fold knows placement %v, test run %v, commissioned %v", w.PlacementChecked, w.TestRun, w.Commissioned)
	}
	const kept = "--trial 30s=5mL"
	r.must(machine.VerbAccept, machine.Request{What: machine.Trials, Channel: "alk", Text: "--trial 30s=4mL"})
	r.must(machine.VerbAccept, machine.Request{What: machine.Trials, Channel: "alk", Text: kept})
	r.crash()
	r.boot()
	if v = r.channel("alk"); v.TrialsKept != kept {
		t.Errorf("after a crash the trials read %q; want %q", v.TrialsKept, kept)
	}
	r.advance(time.Minute)
	trials := []machine.Trial{{Seconds: 30, MeasuredML: boardRate / 2}, {Seconds: 30, MeasuredML: boardRate / 2}, {Seconds: 30, MeasuredML: boardRate / 2}}
	r.must(machine.VerbCalibrate, machine.Request{Channel: "alk", Trials: trials})
	if v = r.channel("alk"); v.TestRun != nil || v.TrialsKept != "" || v.PlacementChecked == nil || v.Commissioned == nil {
		t.Errorf("after a new calibration: placement %v, test run %v, commissioned %v", v.PlacementChecked, v.TestRun, v.Commissioned)
	}
	r.must(machine.VerbTube, machine.Request{Channel: "alk"})
	if v = r.channel("alk"); v.PlacementChecked != nil || v.Commissioned != nil {
		t.Errorf("after new tubing: placement %v, commissioned %v", v.PlacementChecked, v.Commissioned)
	}
	if a := r.ask(machine.VerbAccept, machine.Request{What: machine.Commissioned, Channel: "alk", Text: "x"}); a.OK || a.Code != safety.NotPrimed {
		t.Errorf("a channel that is not primed is commissioned: %+v", a)
	}
}
