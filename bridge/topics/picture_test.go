package topics

import (
	"reflect"
	"strings"
	"testing"
	"time"

	"aliquot/bridge/machine"
	"aliquot/safety"
)

// told gives everything that a service has on its retained topics.
func told(t *testing.T, v machine.SiteView) []Message {
	t.Helper()
	messages, err := shed.Render(v)
	if err != nil {
		t.Fatal(err)
	}
	return append(messages, shed.Birth(), shed.RenderAbout(v), shed.RenderOwner(machine.WriteOwner{Instance: "i-7f3a", Epoch: 12, At: at(9, 0)}))
}

func take(t *testing.T, p *Picture, messages ...Message) {
	t.Helper()
	for _, m := range messages {
		if ours, err := p.Take(m.Topic, m.Payload); !ours || err != nil {
			t.Fatalf("%s: ours %v, %v", m.Topic, ours, err)
		}
	}
}

// What the service renders is what somebody else sees, whatever order it comes in.
func TestPictureGivesWhatWasRendered(t *testing.T) {
	want := sampleView()
	want.NextTick, want.LedgerRows = nil, 0 // on no retained topic
	want.Why = notNil(want.Why)
	want.LastPlan = ptr(at(8, 7))
	want.Alerts = want.Alerts[:1] // the other one is not raised
	for i := range want.Quantities {
		if want.Quantities[i].Advice == nil {
			want.Quantities[i].Advice = []machine.AdviceView{}
		}
	}
	for i := range want.Channels {
		want.Channels[i].Withheld = notNil(want.Channels[i].Withheld)
	}
	for i := range want.Systems {
		want.Systems[i].Withheld = notNil(want.Systems[i].Withheld)
	}
	messages := append(told(t, sampleView()), shed.RenderBeat(machine.BeatView{At: at(8, 59), LastPlan: ptr(at(8, 7))}))
	for _, backwards := range []bool{false, true} {
		p := Picture{Layout: shed}
		for i := range messages {
			m := messages[i]
			if backwards {
				m = messages[len(messages)-1-i]
			}
			take(t, &p, m)
		}
		if !p.Complete() || p.Availability != Online || !p.Sign.Equal(at(9, 0)) {
			t.Errorf("complete %v, availability %q, sign of life %s", p.Complete(), p.Availability, p.Sign)
		}
		if got := p.View(); !reflect.DeepEqual(got, want) {
			t.Errorf("backwards %v: the picture is\n%+v\nwant\n%+v", backwards, got, want)
		}
	}
}

func TestPictureIsCompleteOnlyWithEverything(t *testing.T) {
	messages := told(t, sampleView())
	for i, m := range messages {
		if m.Topic == shed.Owner() || strings.Contains(m.Topic, "/alert/") {
			continue // neither is promised
		}
		p := Picture{Layout: shed}
		for k, other := range messages {
			if k != i {
				take(t, &p, other)
			}
		}
		if p.Complete() {
			t.Errorf("complete without %s", m.Topic)
		}
	}
}

func TestPictureLeavesOutWhatIsGone(t *testing.T) {
	p := Picture{Layout: shed}
	take(t, &p, told(t, sampleView())...)
	v := sampleView()
	v.Channels = v.Channels[:1] // the other one left the configuration; its topic stays on the broker
	take(t, &p, shed.RenderAbout(v), Message{Topic: shed.State("probe", "ph")}, Message{Topic: shed.Alert("interlock-floor-wet")}, shed.Will())
	got := p.View()
	if len(got.Channels) != 1 || got.Channels[0].ID != "alk" || len(got.Probes) != 1 || len(got.Alerts) != 0 || p.Availability != Offline {
		t.Errorf("%d channels, %d probes, %d alerts, %s", len(got.Channels), len(got.Probes), len(got.Alerts), p.Availability)
	}
	if p.Complete() {
		t.Error("complete without a probe that about names")
	}
}

func TestPictureTakesWhatIsWellFormedOnly(t *testing.T) {
	for _, c := range []struct {
		topic, payload string
		ours, bad      bool
	}{
		{"aliquot/harbour-shed/availability", "offline", true, false},
		{"aliquot/harbour-shed/about", "{", true, true},
		{"aliquot/harbour-shed/about", "", true, false},
		{"aliquot/harbour-shed/owner", "{}", true, true},
		{"aliquot/harbour-shed/owner", "", true, false},
		{"aliquot/harbour-shed/beat", `{"at":7}`, true, true},
		{"aliquot/harbour-shed/state/channel/alk", `[]`, true, true},
		{"aliquot/harbour-shed/alert/clock", `7`, true, true},
		{"aliquot/harbour-shed/state/elsewhere/alk", `{}`, false, false},
		{"aliquot/harbour-shed/answer", `{}`, false, false},
		{"aliquot/other/availability", "online", false, false},
		{"elsewhere", "online", false, false},
	} {
		p := Picture{Layout: shed}
		ours, err := p.Take(c.topic, []byte(c.payload))
		if ours != c.ours || (err != nil) != c.bad {
			t.Errorf("Take(%s, %s) = %v, %v", c.topic, c.payload, ours, err)
		}
		if got := p.View(); c.bad && (len(got.Channels) > 0 || len(got.Alerts) > 0 || p.Complete() || !p.Sign.IsZero()) {
			t.Errorf("%s: a payload that cannot be read changed the picture", c.topic)
		}
	}
}

// An older sign of life does not hide a newer one, and a beat brings the last plan.
func TestPictureSignOfLife(t *testing.T) {
	p := Picture{Layout: shed}
	take(t, &p, shed.RenderBeat(machine.BeatView{At: at(9, 5), Withheld: []machine.BlockView{{Code: safety.Fault}}}),
		shed.RenderOwner(machine.WriteOwner{Instance: "i", Epoch: 1, At: at(9, 1)}))
	if !p.Sign.Equal(at(9, 5)) || p.View().LastPlan != nil {
		t.Errorf("sign of life %s, last plan %v", p.Sign, p.View().LastPlan)
	}
	if v := (&Picture{Layout: shed}).View(); v.Site != "harbour-shed" || len(v.Channels) != 0 || !v.At.Equal(time.Time{}) {
		t.Errorf("an empty picture shows %+v", v)
	}
	seen := map[string]bool{}
	for _, f := range shed.PictureFilters() {
		if f.QoS != 0 || seen[f.Topic] {
			t.Errorf("filter %+v", f)
		}
		seen[f.Topic] = true
	}
}
