package rehearse

import (
	"encoding/json"
	"fmt"
	"math"
	"time"

	"aliquot/bridge/machine"
	"aliquot/safety"
)

// trialsWanted is how many calibration runs the keeper makes, trialSeconds how long each (common practice: three).
const (
	trialsWanted = 3
	trialSeconds = 20.0
	trialLeast   = 2.5 // s: below it he gives up
)

// cylinderML is the step to which a measuring cylinder is read (common practice: a tenth of 10 mL, halved by eye).
const cylinderML = 0.05

// tidy rounds to a step without a tail of binary digits.
func tidy(v, step float64) float64 {
	if !(step > 0) {
		return v
	}
	return math.Round(math.Round(v/step)*step*1e6) / 1e6
}

// commission proves, primes and calibrates the channels from the i-th on, one after the other.
func (k *keeper) commission(i int, then func()) {
	if i == len(k.w.o.Site.Channels) {
		k.busy = false
		then()
		return
	}
	k.busy = true
	c := &k.w.o.Site.Channels[i]
	v := k.w.vessels[c.ID]
	*v = vessel{under: true}
	next := func() {
		*v = vessel{}
		k.commission(i+1, then)
	}
	k.prove(c, func() {
		k.prime(c, func(ok bool) {
			if !ok {
				next()
				return
			}
			k.calibrate(c, nil, trialSeconds, next)
		})
	})
}

func (k *keeper) prime(c *machine.Channel, then func(ok bool)) {
	q := machine.Request{Verb: machine.VerbPrime, Channel: c.ID, Into: string(machine.IntoVessel)}
	k.attended(c, q, func(machine.RunResult) {
		a := k.ask(machine.Request{Verb: machine.VerbPrimed, Channel: c.ID})
		then(a.OK)
	}, func(machine.Answered) { then(false) })
}

// prove shows that a relay with a time of its own goes off by itself.
func (k *keeper) prove(c *machine.Channel, then func()) {
	for _, n := range k.w.o.Site.Nodes {
		if n.ID == c.Node && n.AutoOff > 0 {
			q := machine.Request{Verb: machine.VerbProve, Channel: c.ID, Into: string(machine.IntoVessel)}
			k.attended(c, q, func(machine.RunResult) { then() }, func(machine.Answered) { then() })
			return
		}
	}
	then()
}

// calibrate makes the trials that are still wanted and enters them. Where the vessel's cap is too small for a trial
// the next ones are shorter.
func (k *keeper) calibrate(c *machine.Channel, trials []machine.Trial, seconds float64, then func()) {
	if len(trials) == trialsWanted {
		a := k.ask(machine.Request{Verb: machine.VerbCalibrate, Channel: c.ID, Trials: trials, Confirm: true})
		if !a.OK {
			k.w.rec.note(k.w.wall(), fmt.Sprintf("the calibration of %s was not taken: %s", c.ID, a.Text))
		}
		then()
		return
	}
	v := k.w.vessels[c.ID]
	v.holds = 0
	q := machine.Request{Verb: machine.VerbCalibrate, Channel: c.ID, Seconds: &seconds, Into: string(machine.IntoVessel)}
	k.attended(c, q, func(r machine.RunResult) {
		measured := tidy(v.holds/1000, cylinderML)
		k.calibrate(c, append(trials, machine.Trial{Seconds: r.Seconds, MeasuredML: measured}), seconds, then)
	}, func(a machine.Answered) {
		if (a.Code == safety.RunCap || a.Code == safety.RunTimeCap) && seconds/2 >= trialLeast {
			k.calibrate(c, trials, seconds/2, then)
			return
		}
		then()
	})
}

// patience is how long the keeper tries to start one run, retryAfter how often.
const (
	patience   = 24 * time.Hour
	retryAfter = time.Minute
)

// attended asks for a run, at first and until it starts, and goes on when it has ended. What will not pass by itself
// makes him give up.
func (k *keeper) attended(c *machine.Channel, q machine.Request, done func(machine.RunResult), refused func(machine.Answered)) {
	k.attendedUntil(k.w.mono+patience, c, q, done, refused)
}

func (k *keeper) attendedUntil(end time.Duration, c *machine.Channel, q machine.Request, done func(machine.RunResult), refused func(machine.Answered)) {
	retry := func() { k.attendedUntil(end, c, q, done, refused) }
	a := k.ask(q)
	switch {
	case a.Code == safety.Started:
		var r machine.RunResult
		if err := json.Unmarshal([]byte(a.Result), &r); err != nil {
			k.w.trouble = fmt.Errorf("the answer to %s cannot be read: %w", q.Verb, err)
			return
		}
		k.waiting[r.Run] = func(e machine.RunEvent) {
			if e.Outcome != machine.Finished && k.w.mono < end {
				k.w.vessels[c.ID].holds = 0
				k.w.after(retryAfter, retry)
				return
			}
			done(r)
		}
	case passes(a.Code) && k.w.mono < end:
		k.w.after(retryAfter, retry)
	default:
		if a.Code != safety.RunCap && a.Code != safety.RunTimeCap {
			k.w.rec.note(k.w.wall(), fmt.Sprintf("%s of %s was refused: %s", q.Verb, c.ID, a.Text))
		}
		refused(a)
	}
}

// passes says whether a refusal ends without anybody's doing.
func passes(c safety.Code) bool {
	switch c {
	case safety.ChannelBusy, safety.RestTime, safety.KeptApart, safety.NodeOffline, safety.LinkDown, safety.SecondOwner, safety.InterlockActive,
		safety.DayCap, safety.RetainedCommand:
		return true
	}
	return false
}

// primeWhatRanDry primes lines that the machine takes for empty.
func (k *keeper) primeWhatRanDry() {
	view := machine.Snapshot(&k.w.state)
	var dry []*machine.Channel
	for i, v := range view.Channels {
		for _, b := range v.Withheld {
			if b.Code == safety.NotPrimed {
				dry = append(dry, &k.w.o.Site.Channels[i])
			}
		}
	}
	k.primeAll(dry)
}

func (k *keeper) primeAll(dry []*machine.Channel) {
	k.busy = len(dry) > 0
	if !k.busy {
		return
	}
	c := dry[0]
	*k.w.vessels[c.ID] = vessel{under: true}
	k.prime(c, func(ok bool) {
		*k.w.vessels[c.ID] = vessel{}
		if ok {
			k.w.rec.note(k.w.wall(), fmt.Sprintf("the keeper primes %s again", c.ID))
		}
		k.primeAll(dry[1:])
	})
}
