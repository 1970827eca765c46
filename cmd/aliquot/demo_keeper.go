package main

import (
	"context"
	"encoding/json"
	"fmt"
	"time"

	"aliquot/bridge/machine"
	"aliquot/config"
	"aliquot/planner/tank"
	"aliquot/planner/units"
)

// keeper is the person of the demo. Everything is asked over MQTT, as any keeper would.
type keeper struct {
	l     loaded
	clock *warpClock
	water *demoWater
	tell  *teller
	days  int
	c     *client
}

func newKeeper(l loaded, clock *warpClock, water *demoWater, t *teller, days int) *keeper {
	return &keeper{l: l, clock: clock, water: water, tell: t, days: days}
}

func (k *keeper) live(ctx context.Context, s *service) error {
	attentive := k.clock.attend()
	k.clock.add(-1) // the slow start that the clock began with ends with the keeper's own attention
	defer attentive()
	c, err := dial(ctx, k.l)
	if err != nil {
		return err
	}
	defer c.stop()
	k.c = c
	if err := k.waitReady(ctx, s); err != nil {
		return err
	}
	for _, box := range k.l.Containers {
		if err := k.mustAsk(ctx, "fills "+box.ID, machine.VerbRefill, map[string]any{"container": box.ID, "full": true, "confirm": true}); err != nil {
			return err
		}
	}
	for _, ch := range k.l.Channels {
		if err := k.commission(ctx, ch); err != nil {
			return fmt.Errorf("commissioning %s: %w", ch.ID, err)
		}
	}
	k.testAll(ctx)
	attentive()
	return k.routine(ctx, s)
}

// waitReady waits until the service owns its site, and every node and probe is there.
func (k *keeper) waitReady(ctx context.Context, s *service) error {
	for {
		if v, ok := s.bridge.View(); ok && v.Ready && allThere(v) {
			return nil
		}
		if err := k.sleep(ctx, 5*time.Second); err != nil {
			return err
		}
	}
}

func allThere(v machine.SiteView) bool {
	for _, p := range v.Probes {
		if !p.Good {
			return false
		}
	}
	for _, n := range v.Nodes {
		if !n.Online {
			return false
		}
	}
	return true
}

// sleep lets simulated time pass.
func (k *keeper) sleep(ctx context.Context, d time.Duration) error {
	ring, drop := k.clock.WakeAt(k.clock.Now().Mono + d)
	defer drop()
	select {
	case <-ring:
		return nil
	case <-ctx.Done():
		return ctx.Err()
	}
}

// ask sends a request at a speed at which an answer can come.
func (k *keeper) ask(ctx context.Context, verb machine.Verb, fields map[string]any) (reply, error) {
	defer k.clock.attend()()
	return k.c.ask(ctx, verb, fields)
}

func (k *keeper) mustAsk(ctx context.Context, what string, verb machine.Verb, fields map[string]any) error {
	r, err := k.ask(ctx, verb, fields)
	if err != nil {
		return err
	}
	k.tell.keeper(what, r)
	if !r.OK {
		return fmt.Errorf("%s was refused: %s", what, r.Text)
	}
	return nil
}

// commission primes and calibrates a channel, its outlet in a measuring cylinder.
func (k *keeper) commission(ctx context.Context, ch config.Channel) error {
	at := channelAt{ch.Node, ch.Output}
	k.water.vessel(at, true)
	defer k.water.vessel(at, false)
	if _, err := k.attended(ctx, "primes "+ch.ID, machine.VerbPrime, map[string]any{"channel": ch.ID, "into": "vessel"}); err != nil {
		return err
	}
	if err := k.mustAsk(ctx, "sees liquid at the outlet of "+ch.ID, machine.VerbPrimed, map[string]any{"channel": ch.ID}); err != nil {
		return err
	}
	var trials []map[string]any
	for range 3 {
		k.water.vessel(at, true)
		run, err := k.attended(ctx, "", machine.VerbCalibrate, map[string]any{"channel": ch.ID, "seconds": 20, "into": "vessel"})
		if err != nil {
			return err
		}
		trials = append(trials, map[string]any{"seconds": run.Seconds, "measured_ml": readCylinder(k.water.vessel(at, true))})
	}
	return k.mustAsk(ctx, "calibrates "+ch.ID, machine.VerbCalibrate, map[string]any{"channel": ch.ID, "trials": trials})
}

// readCylinder reads a graduated cylinder to a twentieth of a millilitre.
func readCylinder(ml float64) float64 { return float64(int(ml*20+0.5)) / 20 }

// attended asks for a run and waits for its end. A channel that is kept apart from one that has just run must wait.
func (k *keeper) attended(ctx context.Context, what string, verb machine.Verb, fields map[string]any) (machine.RunResult, error) {
	var started machine.RunResult
	for {
		r, err := k.ask(ctx, verb, fields)
		if err != nil {
			return started, err
		}
		if r.OK {
			if what != "" {
				k.tell.keeper(what, r)
			}
			if err := json.Unmarshal(r.Result, &started); err != nil {
				return started, err
			}
			break
		}
		if r.Code != "kept_apart" && r.Code != "busy" {
			return started, fmt.Errorf("%s: %s", verb, r.Text)
		}
		if err := k.waitFast(ctx, time.Minute); err != nil {
			return started, err
		}
	}
	var ended machine.RunEvent
	err := k.c.event(ctx, time.Minute, func(kind string, data json.RawMessage) bool {
		return kind == "run_ended" && json.Unmarshal(data, &ended) == nil && ended.Run == started.Run
	})
	if err == nil && ended.Outcome != machine.Finished {
		err = fmt.Errorf("the run ended %s: %s", ended.Outcome, ended.Reason)
	}
	return started, err
}

// waitFast waits without holding time back.
func (k *keeper) waitFast(ctx context.Context, d time.Duration) error {
	k.clock.add(-1)
	defer k.clock.add(1)
	return k.sleep(ctx, d)
}

// kits are the keeper's tests: how often, and how good.
var kits = []struct {
	quantity units.Quantity
	every    int // days
	kit      tank.Kit
}{
	{units.Alkalinity, 2, tank.Kit{SD: 0.12, Resolution: 0.1}},
	{units.Calcium, 4, tank.Kit{SD: 6, Resolution: 5}},
	{units.Magnesium, 8, tank.Kit{SD: 18, Resolution: 10}},
}

func (k *keeper) testAll(ctx context.Context) {
	for _, t := range kits {
		k.test(ctx, t.quantity, t.kit)
	}
}

func (k *keeper) test(ctx context.Context, q units.Quantity, kit tank.Kit) {
	value := k.water.test(q, kit, k.clock.Now().Wall)
	k.enter(ctx, q, value, q.Unit())
}

func (k *keeper) enter(ctx context.Context, q units.Quantity, value float64, unit string) {
	r, err := k.ask(ctx, machine.VerbTest, map[string]any{"quantity": string(q), "value": value, "unit": unit})
	if err == nil {
		k.tell.keeper(fmt.Sprintf("enters %s %.4g %s", q, value, unit), r)
	}
}

// mistakeOn is the day on which the keeper is tired and enters ppm as dKH.
const mistakeOn = 3

// routine is a keeper's life: a look every evening.
func (k *keeper) routine(ctx context.Context, s *service) error {
	for day := 1; k.days == 0 || day <= k.days; day++ {
		if err := k.sleep(ctx, untilEvening(k.clock.Now().Wall)); err != nil {
			return nil
		}
		if day == mistakeOn {
			k.enter(ctx, units.Alkalinity, 143, "dKH")
		}
		for _, t := range kits {
			if day%t.every == 0 {
				k.test(ctx, t.quantity, t.kit)
			}
		}
		v, _ := s.bridge.View()
		for _, box := range v.Containers {
			if box.Low || box.RemainingMinML < 0.25*box.CapacityML {
				_ = k.mustAsk(ctx, "refills "+box.ID, machine.VerbRefill, map[string]any{"container": box.ID, "full": true, "confirm": true})
			}
		}
		k.tell.day(day, s)
	}
	return nil
}

func untilEvening(now time.Time) time.Duration {
	evening := time.Date(now.Year(), now.Month(), now.Day(), 19, 0, 0, 0, now.Location())
	if !evening.After(now.Add(time.Hour)) {
		evening = evening.AddDate(0, 0, 1)
	}
	return evening.Sub(now)
}
