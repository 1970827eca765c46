package main

import (
	"flag"
	"fmt"
	"math/rand/v2"
	"testing"
	"time"

	"aliquot/bridge/machine"
	"aliquot/bridge/mqtt/mosquittotest"
)

var (
	killSites = flag.Int("kill-sites", 5, "at how many sites, side by side, the service is killed at random")
	killLives = flag.Int("kill-lives", 3, "how often at each")
	killSeed  = flag.Uint64("kill-seed", 0, "when; 0 draws one")
)

// TestH05_INV1_INV3_INV4_KilledAtRandom kills the service with SIGKILL at random moments, while runs are asked for and
// served by schedule, and starts it again, over and over. What truly left the outputs stays within the caps and the
// books, no run is sent twice or without its row, and the ledger is whole after each death.
func TestH05_INV1_INV3_INV4_KilledAtRandom(t *testing.T) {
	t.Parallel()
	seed := *killSeed
	if seed == 0 {
		seed = rand.Uint64N(1_000_000)
	}
	b := mosquittotest.Start(t, mosquittotest.Options{})
	for i := range *killSites {
		t.Run(fmt.Sprint("site-", i), func(t *testing.T) {
			t.Parallel()
			k := &killer{random: rand.New(rand.NewPCG(seed, uint64(i))), caps: map[string]float64{"alk": 9, "trace": 40}}
			k.rig = newRig(t, b, fmt.Sprint("random-", i), func(q *quay) {
				// Slots each minute of a channel that may not give half of what they ask for, if caps are not kept.
				q.AlkPerDay, q.TraceSlots, q.TracePerDay, q.TraceCap = "9 mL", "* * * * *", "30", "40 mL"
			})
			t.Cleanup(func() { t.Logf("kill-seed %d: %s", seed, k) })
			k.commission()
			k.truth = k.truly()
			for range *killLives {
				k.live()
			}
			k.lastLife()
		})
	}
}

// killer is one site whose service is killed again and again.
type killer struct {
	*rig
	truth                   *truth
	random                  *rand.Rand
	caps                    map[string]float64
	starts, asked, killedUp int
}

func (k *killer) String() string {
	reserved, ended := k.runs()
	unknown := 0
	for _, e := range ended {
		if e.Outcome == machine.Unknown {
			unknown++
		}
	}
	return fmt.Sprintf("%d lives, %d of them killed when dosing was possible; %d runs asked for, %d reserved, %d on the wire, %d unknown; alk truly gave %.2f mL of %g, trace %.2f mL of %g",
		k.starts, k.killedUp, k.asked, len(reserved), len(k.sentRuns(0)), unknown, k.truth.of(alkAt), k.caps["alk"], k.truth.of(traceAt), k.caps["trace"])
}

// live starts the service and kills it: one time in four while it starts, else around runs.
func (k *killer) live() {
	k.t.Helper()
	k.starts++
	p := k.daemon("")
	if k.random.IntN(4) == 0 {
		<-time.After(k.within(4 * time.Second))
	} else {
		k.owns(p)
		k.lift()
		k.killedUp++
		for range 1 + k.random.IntN(3) {
			k.askForRun()
			<-time.After(k.within(1500 * time.Millisecond))
		}
	}
	k.isDead(p)
	k.check()
}

func (k *killer) within(limit time.Duration) time.Duration {
	return time.Duration(k.random.Int64N(int64(limit)))
}

// askForRun asks for a run and does not wait for the answer.
func (k *killer) askForRun() {
	k.t.Helper()
	k.asked++
	channel := []string{"alk", "alk", "trace"}[k.random.IntN(3)]
	k.send(fmt.Sprintf("ref-%d", refs.Add(1)), machine.VerbRun, fmt.Sprintf(`"channel":%q,"volume_ml":%d,"kind":"test"`, channel, 1+k.random.IntN(3)))
}

// check looks at the ledger, which opening verifies, and at what truly happened.
func (k *killer) check() {
	k.t.Helper()
	k.checkTruth(k.truth, k.caps)
	k.checkRecorded(nil)
}

// lastLife lets the service live, has it use the cap up, and waits for the last run.
func (k *killer) lastLife() {
	k.t.Helper()
	k.owns(k.daemon(""))
	k.lift()
	full := false
	for range 12 {
		mark := k.spy.mark()
		a := k.ask(machine.VerbRun, `"channel":"alk","volume_ml":3,"kind":"test"`)
		if full = a.Code == "day_cap"; full {
			break
		}
		if a.OK {
			k.awaitEnd(mark, runOf(k.t, a), machine.Finished)
		} else {
			<-time.After(time.Second / 4)
		}
	}
	if !full {
		k.t.Error("alk never came to its cap")
	}
	k.check()
	k.checkWire()
}
