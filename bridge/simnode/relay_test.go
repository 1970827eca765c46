package simnode

import (
	"math"
	"testing"
	"time"
)

func TestRelayTimers(t *testing.T) {
	tests := []struct {
		name    string
		autoOff time.Duration
		payload string
		wantOn  float64 // s; Inf: stays on
	}{
		{"timer in the payload", 0, "on 12.5", 12.5},
		{"fixed inside", 60 * time.Second, "on", 60},
		{"both, payload shorter", 60 * time.Second, "on 12.5", 12.5},
		{"both, fixed shorter", 10 * time.Second, "on 12.5", 10},
		{"neither", 0, "on", math.Inf(1)},
	}
	for _, tt := range tests {
		t.Run(tt.name, func(t *testing.T) {
			r := goodRelay(t, func(o *RelayOptions) { o.AutoOff = tt.autoOff })
			wantTold(t, "on", switchAt(r, 0, 1, tt.payload), "1=ON")
			if math.IsInf(tt.wantOn, 1) {
				if w, ok := r.NextWake(); ok {
					t.Errorf("NextWake = %v; want none", w)
				}
				wantTold(t, "a day later", r.Advance(after(86400)), "")
				wantDelivered(t, r, 1, ulAt10(86400))
				wantTold(t, "off", switchAt(r, 86400, 1, "off"), "1=OFF")
				return
			}
			wantTold(t, "before the end", r.Advance(after(tt.wantOn-0.001)), "")
			wantTold(t, "at the end", r.Advance(after(tt.wantOn)), "1=OFF")
			r.Advance(after(3600))
			wantDelivered(t, r, 1, ulAt10(tt.wantOn))
			wantDelivered(t, r, 2, 0)
		})
	}
}

func TestRelayAnswersAndProlongs(t *testing.T) {
	r := goodRelay(t, nil)
	wantTold(t, "off when off", switchAt(r, 0, 2, "off"), "2=OFF")
	switchAt(r, 0, 1, "on 10")
	wantTold(t, "on when on", switchAt(r, 8, 1, "on 10"), "1=ON")
	wantTold(t, "at the first end", r.Advance(after(10)), "")
	wantTold(t, "at the second end", r.Advance(after(18)), "1=OFF")
	wantDelivered(t, r, 1, ulAt10(18))
	if r.Counts().Runs != 1 {
		t.Errorf("runs = %d; want 1, prolonged", r.Counts().Runs)
	}
	switchAt(r, 20, 1, "on 10")
	wantTold(t, "off in the middle", switchAt(r, 25, 1, "off"), "1=OFF")
	wantDelivered(t, r, 1, ulAt10(23))
}

func TestRelayIgnoresWhatItCannotRead(t *testing.T) {
	r := goodRelay(t, nil)
	for _, payload := range []string{"", "toggle", "on NaN", "on -1", "on +Inf", "on 604801"} {
		wantTold(t, payload, switchAt(r, 0, 1, payload), "")
	}
	for _, output := range []int{-1, 0, 3} {
		wantTold(t, "no such output", switchAt(r, 0, output, "on 5"), "")
	}
	if r.Running(1) || r.Counts() != (Counts{Malformed: 9}) {
		t.Errorf("running %v, counts %+v; want off and 9 malformed", r.Running(1), r.Counts())
	}
	wantTold(t, "longest timer", switchAt(r, 0, 1, "on 604800"), "1=ON")
}

func TestRelayRetainedCommand(t *testing.T) {
	r := goodRelay(t, nil)
	c := Command{Output: 1, Payload: []byte("on 5"), Retained: true}
	wantTold(t, "good relay", r.Receive(epoch, c), "")
	r.SetFaults(epoch, Faults{ObeysRetained: true})
	wantTold(t, "bad relay", r.Receive(epoch, c), "1=ON")
	if r.Counts().Retained != 1 {
		t.Errorf("retained = %d; want 1", r.Counts().Retained)
	}
}

func TestRelayConnectsAndReboots(t *testing.T) {
	r := goodRelay(t, func(o *RelayOptions) {
		o.StateOn, o.StateOff, o.Up, o.Down = []byte("true"), []byte("false"), []byte("yes"), []byte("no")
		o.StateQoS = 1
	})
	outs := r.Connect(epoch)
	wantTold(t, "birth", outs, "online=yes, 1=false, 2=false")
	if outs[1].QoS != 1 {
		t.Errorf("state has QoS %d; want 1", outs[1].QoS)
	}
	switchAt(r, 0, 1, "on 30")
	wantTold(t, "restart", r.Reboot(after(10)), "online=no, online=yes, 1=false, 2=false")
	r.Advance(after(100))
	wantDelivered(t, r, 1, ulAt10(10))
}

func TestRelayOptionsAreChecked(t *testing.T) {
	good := RelayOptions{RatesMLPerMin: []float64{10}, OnOff: onOff, StateQoS: 1}
	tests := map[string]func(*RelayOptions){
		"no outputs": func(o *RelayOptions) { o.RatesMLPerMin = nil },
		"no reader":  func(o *RelayOptions) { o.OnOff = nil },
		"auto-off":   func(o *RelayOptions) { o.AutoOff = -1 },
		"QoS 2":      func(o *RelayOptions) { o.StateQoS = 2 },
	}
	for name, spoil := range tests {
		o := good
		spoil(&o)
		if r, err := NewRelay(o); err == nil || r != nil {
			t.Errorf("%s: NewRelay = %v, %v; want an error", name, r, err)
		}
	}
	if _, err := NewRelay(good); err != nil {
		t.Errorf("NewRelay = %v; want none", err)
	}
}
