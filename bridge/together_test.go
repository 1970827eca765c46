package bridge

import (
	"encoding/json"
	"errors"
	"fmt"
	"testing"
	"testing/synctest"
	"time"

	"aliquot/bridge/machine"
	"aliquot/bridge/node"
)

const pumps = 20

// bank is a board of twenty pumps, each of which runs. It gives the ids of the runs, by output.
func bank(t *testing.T, k **gatedBook) (*rig, map[int]string) {
	t.Helper()
	r := startRig(t, func(o *Options) {
		*k = &gatedBook{book: o.Ledger.(*book)}
		site, outputs := *o.Site, []int{}
		one := site.Channels[0]
		site.Channels = nil
		fold := commissioned(o.Site, time.Now().Add(-time.Hour))
		for n := 1; n <= pumps; n++ {
			c := one
			c.ID, c.Output = fmt.Sprintf("alk%d", n), n
			site.Channels, outputs = append(site.Channels, c), append(outputs, n)
			for _, row := range fold[1:3] {
				switch b := row.Body.(type) {
				case machine.Primed:
					b.Channel = c.ID
					row.Body = b
				case machine.Calibration:
					b.Channel = c.ID
					row.Body = b
				}
				row.Seq = int64(len(fold) + 1)
				fold = append(fold, row)
			}
		}
		f := machine.NewFold(&site)
		f.Add(fold[0])
		for i, row := range fold[3:] {
			row.Seq = int64(i + 2)
			f.Add(row)
		}
		codec, err := node.Compile(node.Spec{ID: "board", Style: machine.BoundedRun, Outputs: outputs, Run: "pumps/{{.Output}}/run",
			Stop: "pumps/{{.Output}}/stop", Report: "pumps/{{.Output}}/report", Online: node.Online{Topic: "pumps/online", Up: "1", Down: "0"}})
		if err != nil {
			t.Fatal(err)
		}
		o.Site, o.State, o.Nodes, o.Ledger = &site, f.State(), []*node.Codec{codec}, *k
	})
	r.connect()
	runs := map[int]string{}
	for n := 1; n <= pumps; n++ {
		r.ask("run", map[string]any{"ref": fmt.Sprint("run-", n), "channel": fmt.Sprintf("alk%d", n), "volume_ml": 1})
		sent := r.wire.on(fmt.Sprintf("pumps/%d/run", n))
		var c struct{ ID string }
		if len(sent) != 1 || json.Unmarshal([]byte(sent[0]), &c) != nil {
			t.Fatalf("pump %d was told %q", n, sent)
		}
		runs[n] = c.ID
	}
	return r, runs
}

// finish has pumps report their ends.
func (r *rig) finish(runs map[int]string, first, last int) {
	for n := first; n <= last; n++ {
		r.b.Deliver(Message{Topic: fmt.Sprintf("pumps/%d/report", n), QoS: 1, Payload: fmt.Appendf(nil, `{"v":1,"id":%q,"state":"finished","boot":1,"seq":%d,"seconds":2}`, runs[n], n)})
	}
}

// While the first report is on its way to the disk the others come. They go there together, none is lost, and each is told of;
// if they do not get there, none is told of, and every pump is stopped.
func TestH39_INV7_ReportsThatWaitAreStoredTogether(t *testing.T) {
	for _, broken := range []bool{false, true} {
		synctest.Test(t, func(t *testing.T) {
			var k *gatedBook
			r, runs := bank(t, &k)
			time.Sleep(2 * time.Second)
			gate := make(chan struct{})
			k.stand(gate)
			r.finish(runs, 1, 1)
			synctest.Wait()
			r.finish(runs, 2, pumps)
			gate <- struct{}{} // the first
			synctest.Wait()
			stops, want := len(r.wire.on("pumps/20/stop")), pumps
			if broken {
				k.book.mu.Lock()
				k.broke, want = errors.New("disk full"), 1
				k.book.mu.Unlock()
			}
			gate <- struct{}{} // all others
			synctest.Wait()
			if got := k.count("run_ended"); got != want {
				t.Errorf("disk full %v: %d runs ended with two transactions, want %d", broken, got, want)
			}
			if got := len(r.wire.on("aliquot/shed/event/run_ended")); got != want {
				t.Errorf("disk full %v: %d ends were told, want %d", broken, got, want)
			}
			if got := len(r.wire.on("pumps/20/stop")); broken && got <= stops {
				t.Error("no pump was stopped when the ledger broke")
			}
			close(gate)
			if err := r.stop(); err != nil {
				t.Error(err)
			}
		})
	}
}
