package mqtt_test

import (
	"context"
	"errors"
	"fmt"
	"slices"
	"strings"
	"testing"
	"time"

	"aliquot/bridge/mqtt"
	"aliquot/bridge/mqtt/mosquittotest"
)

func TestMessagesPassBothWays(t *testing.T) {
	onBoth(t, func(t *testing.T, b testBroker) {
		r := start(t, mqtt.Options{Broker: "mqtt://" + b.address(), Subscriptions: subs("reef/ask/#", "reef/one")}).waitUp()
		if !r.client.Open() {
			t.Fatal("Open() = false after OnUp")
		}
		for qos := range byte(2) {
			r.publish("reef/ask/test", fmt.Sprint("payload ", qos), qos, false)
			if m := r.want("reef/ask/test", fmt.Sprint("payload ", qos)); m.QoS != qos || m.Retained {
				t.Errorf("got QoS %d, retained %t; want QoS %d, not retained", m.QoS, m.Retained, qos)
			}
		}
		r.publish("reef/one", "", 1, false)
		r.want("reef/one", "")
		r.publish("reef/elsewhere", "not for us", 1, false)
		r.publish("reef/one", "last", 1, false)
		r.want("reef/one", "last")
	})
}

func TestRetainedMessagesComeAfterOnUpAndAreMarked(t *testing.T) {
	onBoth(t, func(t *testing.T, b testBroker) {
		url := "mqtt://" + b.address()
		start(t, mqtt.Options{Broker: url}).waitUp().publish("node/a/online", "online", 1, true)
		r := start(t, mqtt.Options{Broker: url, Subscriptions: subs("node/+/online", "node/b/report", "reef/ask/#")}).waitUp()
		if m := r.want("node/a/online", "online"); !m.Retained {
			t.Error("the kept message is not marked as retained")
		}
		r.stop()
		if got, want := r.told(), []string{"up", "node/a/online", "down"}; !slices.Equal(got, want) {
			t.Errorf("calls %v; want %v", got, want)
		}
	})
}

func TestOrderOnOneTopicIsKept(t *testing.T) {
	onBoth(t, func(t *testing.T, b testBroker) {
		url := "mqtt://" + b.address()
		r := start(t, mqtt.Options{Broker: url, Subscriptions: subs("node/report")}).waitUp()
		sender := start(t, mqtt.Options{Broker: url}).waitUp()
		const count = 400
		for i := range count {
			sender.publish("node/report", fmt.Sprint(i), byte(i/(count/2)), false)
		}
		for i := range count {
			r.want("node/report", fmt.Sprint(i))
		}
	})
}

func TestWillAppearsWhenTheLinkIsCut(t *testing.T) {
	onBoth(t, func(t *testing.T, b testBroker) {
		// The ping makes sure that the broker is through with what it kept before the first message is sent.
		watcher := start(t, mqtt.Options{
			Broker: "mqtt://" + b.address(), Subscriptions: subs("reef/availability"), PingTopic: "ping",
		}).waitUp()
		p := mosquittotest.NewProxy(t, b.address())
		r := start(t, mqtt.Options{Broker: p.URL(), Will: mqtt.Message{
			Topic: "reef/availability", Payload: []byte("offline"), QoS: 1, Retained: true,
		}}).waitUp()
		r.publish("reef/availability", "online", 1, true)
		watcher.want("reef/availability", "online")
		p.Cut()
		watcher.want("reef/availability", "offline")
		if err := wait(t, r.downs, "OnDown"); err == nil {
			t.Error("OnDown got no reason")
		}
		late := start(t, mqtt.Options{Broker: "mqtt://" + b.address(), Subscriptions: subs("reef/availability")}).waitUp()
		if m := late.want("reef/availability", "offline"); !m.Retained {
			t.Error("the will was not kept by the broker")
		}
	})
}

func TestCleanEndTriggersNoWill(t *testing.T) {
	onBoth(t, func(t *testing.T, b testBroker) {
		watcher := start(t, mqtt.Options{Broker: "mqtt://" + b.address(), Subscriptions: subs("reef/#")}).waitUp()
		r := start(t, mqtt.Options{Broker: "mqtt://" + b.address(), Will: mqtt.Message{Topic: "reef/will", Payload: []byte("x")}}).waitUp()
		r.stop()
		if err := wait(t, r.downs, "OnDown"); err != nil {
			t.Errorf("OnDown got %v; want nil at the end of the context", err)
		}
		watcher.publish("reef/mark", "", 1, false)
		watcher.want("reef/mark", "")
	})
}

// The heart of H-04: whatever was said into a dying connection stays dead.
func TestNothingIsDeliveredLate(t *testing.T) {
	onBoth(t, func(t *testing.T, b testBroker) {
		p := mosquittotest.NewProxy(t, b.address())
		r := start(t, mqtt.Options{Broker: p.URL()}).waitUp()
		p.Treat(mosquittotest.Swallow, mosquittotest.Pass)
		run := mqtt.Message{Topic: "node/run", Payload: []byte("run"), QoS: 0}
		if d, _ := r.client.Publish(run, time.Second); d == mqtt.NotHanded {
			t.Error("Publish(QoS 0 into a silent link) = not handed over; want anything but that")
		}
		state := mqtt.Message{Topic: "reef/state", Payload: []byte("state"), QoS: 1, Retained: true}
		if d, err := r.client.Publish(state, 200*time.Millisecond); d != mqtt.Unknown || !errors.Is(err, mqtt.ErrSilence) {
			t.Errorf("Publish(QoS 1 into a silent link) = %v, %v; want unknown, %v", d, err, mqtt.ErrSilence)
		}
		b.stop()
		p.Cut()
		wait(t, r.downs, "OnDown")
		for _, m := range []mqtt.Message{run, state} {
			if d, err := r.client.Publish(m, time.Second); d != mqtt.NotHanded || !errors.Is(err, mqtt.ErrNotOpen) {
				t.Errorf("Publish(QoS %d while down) = %v, %v; want not handed over, %v", m.QoS, d, err, mqtt.ErrNotOpen)
			}
		}
		p.Heal()
		b.restart()
		// The watcher is there before the client is back, or gets what the broker kept.
		watcher := start(t, mqtt.Options{Broker: "mqtt://" + b.address(), Subscriptions: subs("#")}).waitUp()
		r.waitUp().publish("reef/mark", "", 1, false)
		watcher.want("reef/mark", "")
	})
}

func TestUpAndDownAlternateOverRestarts(t *testing.T) {
	onBoth(t, func(t *testing.T, b testBroker) {
		r := start(t, mqtt.Options{Broker: "mqtt://" + b.address(), Subscriptions: subs("reef/#")}).waitUp()
		for range 3 {
			b.stop()
			if err := wait(t, r.downs, "OnDown"); err == nil {
				t.Error("OnDown got no reason")
			}
			if r.client.Open() {
				t.Error("Open() = true after OnDown")
			}
			b.restart()
			r.waitUp()
			r.publish("reef/x", "again", 1, false)
			r.want("reef/x", "again")
		}
		r.stop()
		want := "up reef/x down "
		if got := strings.Join(r.told(), " "); got != "up down "+strings.Repeat(want, 3)[:len(want)*3-1] {
			t.Errorf("calls %q; want up, then down and up in turn", got)
		}
		if s := r.client.Stats(); s.Ups != 4 || s.Losses != 3 {
			t.Errorf("Stats() = %+v; want 4 ups, 3 losses", s)
		}
	})
}

func TestBrokerMayStartLater(t *testing.T) {
	onBoth(t, func(t *testing.T, b testBroker) {
		b.stop()
		r := start(t, mqtt.Options{Broker: "mqtt://" + b.address()})
		if err := wait(t, r.refused, "OnRefused"); !strings.Contains(err.Error(), "nothing listens there") {
			t.Errorf("OnRefused(%v); want it to say that nothing listens there", err)
		}
		b.restart()
		r.waitUp()
	})
}

func TestEndOfContextAtAnyTime(t *testing.T) {
	onBoth(t, func(t *testing.T, b testBroker) {
		for _, after := range []time.Duration{0, 1, 200 * time.Microsecond, time.Millisecond, 3 * time.Millisecond, 10 * time.Millisecond} {
			r := newRig(t, mqtt.Options{Broker: "mqtt://" + b.address(), Subscriptions: subs("a", "b"), PingTopic: "p"})
			ctx, cancel := context.WithTimeout(context.Background(), after)
			if err := r.client.Run(ctx); err != nil {
				t.Errorf("Run(ended after %v) = %v; want nil", after, err)
			}
			cancel()
			if ups, downs := len(r.ups), len(r.downs); ups != downs {
				t.Errorf("ended after %v: %d OnUp, %d OnDown; want the same", after, ups, downs)
			}
		}
	})
}

func TestOnUpMayPublish(t *testing.T) {
	onBoth(t, func(t *testing.T, b testBroker) {
		var r *rig
		ready := make(chan struct{})
		r = start(t, mqtt.Options{
			Broker:        "mqtt://" + b.address(),
			Subscriptions: subs("reef/#"),
			PingTopic:     "reef/ping",
			OnUp: func() {
				<-ready
				for i := range 5 {
					r.publish("reef/birth", fmt.Sprint(i), 1, false)
				}
			},
		})
		close(ready)
		r.waitUp()
		for i := range 5 {
			r.want("reef/birth", fmt.Sprint(i))
		}
	})
}

func TestRunTwiceIsRefused(t *testing.T) {
	r := start(t, mqtt.Options{Broker: "mqtt://127.0.0.1:1"})
	wait(t, r.refused, "OnRefused")
	if err := r.client.Run(context.Background()); err == nil {
		t.Error("a second Run = nil; want an error")
	}
}
