package machine_test

import (
	"fmt"
	"sort"
	"strconv"
	"strings"
	"time"

	"aliquot/bridge/machine"
	"aliquot/bridge/simnode"
	"aliquot/safety"
)

// happen has one event of a story happen.
func (s *story) happen(what string) {
	r := s.r
	word, rest, _ := strings.Cut(what, " ")
	args := strings.Fields(rest)
	switch word {
	case "wait":
	case "boot":
		r.boot()
	case "crash":
		r.crash()
	case "stop":
		r.stop()
	case "commission":
		s.summary = true
		r.commission()
	case "die":
		r.dieAt = s.number(args[0])
	case "ask":
		verb, text, _ := strings.Cut(rest, " ")
		s.ask(verb, text)
	case "repeat":
		r.step(machine.Asked{Request: s.last})
	case "link":
		if args[0] == "up" {
			r.connect()
		} else {
			r.cut()
		}
	case "node":
		s.nodeDoes(args[0], args[1:])
	case "again":
		s.again(args)
	case "probe":
		s.probeSays(args[0], args[1])
	case "level":
		s.levelSays(args[0], args[1])
	case "ledger":
		r.appendFails = args[0] == "broken"
	case "clock":
		s.clockDoes(args[0])
	case "owner":
		switch args[0] {
		case "gone":
			r.owner = nil
			r.soon(machine.OwnerSeen{Gone: true})
			return
		case "renewed": // by the process that wrote it, which lives on a copy of the ledger
			r.owner.At = r.trueTime()
		default:
			r.owner = &machine.WriteOwner{Instance: args[0], Epoch: 9, At: r.trueTime()}
		}
		r.soon(ownerSeen(*r.owner))
	case "plant":
		r.plant(args[0], s.number(args[1]))
	case "foreign":
		s.foreign(args[0], s.number(args[1]))
	case "show":
		s.show(args)
	default:
		s.t.Fatalf("not understood: %q", what)
	}
}

func (s *story) number(text string) int {
	n, err := strconv.Atoi(text)
	if err != nil {
		s.t.Fatalf("%v", err)
	}
	return n
}

func (s *story) nodeDoes(id string, args []string) {
	r := s.r
	f := simnode.Faults{}
	switch args[0] {
	case "offline":
		r.disconnect(id)
		return
	case "online":
		r.reconnect(id)
		return
	case "reboot":
		r.reboot(id)
		return
	case "good":
	case "mute":
		f.Mute = true
	case "deaf":
		f.Deaf = true
	case "stuck":
		f.StuckOn = true
	case "ignores-timer":
		f.IgnoresTimer = true
	case "late":
		d, err := time.ParseDuration(args[1])
		if err != nil {
			s.t.Fatalf("%v", err)
		}
		f.LateStart = d
	default:
		s.t.Fatalf("a node cannot %q", args[0])
	}
	r.faults(id, f)
}

// again has the board report once more that the newest run of a channel started, as if it had got its command twice.
func (s *story) again(args []string) {
	for i := len(s.r.rows) - 1; i >= 0; i-- {
		if b, ok := s.r.rows[i].Body.(machine.RunReserved); ok && b.Channel == args[0] {
			s.r.soon(machine.Reported{Node: b.Node, Run: b.Run, State: machine.ReportStarted, Boot: 1, Seq: 9000 + int64(s.r.now.Seconds())})
			return
		}
	}
	s.t.Fatalf("%s never ran", args[0])
}

func (s *story) probeSays(id, value string) {
	if value == "off" {
		delete(s.r.readings, id)
		return
	}
	v, err := strconv.ParseFloat(value, 64)
	if err != nil {
		s.t.Fatalf("%v", err)
	}
	if id == "ph" {
		v += .03 * float64(int(s.r.now.Hours())%4) // the swing is taken off again
	}
	s.r.readings[id] = v
	s.r.readProbes()
}

// levelSays has a container's scale say so many mL, or nonsense.
func (s *story) levelSays(id, value string) {
	e := machine.LevelRead{Container: id}
	if v, err := strconv.ParseFloat(value, 64); err != nil {
		e.Bad = "the reading is " + value
	} else {
		e.Volume = safety.Microlitres(v * 1000)
	}
	s.r.step(e)
}

func (s *story) clockDoes(word string) {
	switch word {
	case "synced":
		s.r.synced, s.r.offset = true, 0
		s.r.step(machine.Woke{})
		return
	case "unsynced":
		s.r.synced = false
		s.r.step(machine.Woke{})
		return
	}
	d, err := time.ParseDuration(word)
	if err != nil {
		s.t.Fatalf("%v", err)
	}
	s.r.offset, s.r.synced = s.r.offset+d, false
	s.r.step(machine.Woke{})
}

// foreign has somebody else command a node.
func (s *story) foreign(id string, output int) {
	r := s.r
	if id == "plug" {
		r.soon(machine.CommandSeen{Node: id, Output: output})
		r.fromNode(id, r.relay.Receive(r.trueTime(), simnode.Command{Output: output, Payload: []byte("on")}))
		return
	}
	r.soon(machine.CommandSeen{Node: id, Output: output, Run: "01FOREIGN"})
	r.fromNode(id, r.board.Receive(r.trueTime(), simnode.Command{Kind: simnode.Run, Output: output,
		Payload: []byte(fmt.Sprintf(`{"v":1,"id":"01FOREIGN","seconds":30,"expires":%q}`, r.trueTime().Add(10*time.Second).Format(time.RFC3339)))}))
}

// show writes down a part of the state.
func (s *story) show(args []string) {
	v := s.r.view()
	switch args[0] {
	case "why":
		s.note("ready %v %s", v.Ready, blocks(v.Why))
	case "channel":
		c := s.r.channel(args[1])
		next := "none"
		if c.Next != nil {
			next = fmt.Sprintf("%s %.3f mL", c.Next.At.Format("01-02T15:04:05"), c.Next.VolumeML)
		}
		s.note("%s: plan %.3f mL a day, last 24 h %.3f mL, next %s, last %s, %s", c.ID, c.PlannedMLPerDay, c.Window24hHiML, next, c.LastOutcome, blocks(c.Withheld))
	case "container":
		k := s.r.container(args[1])
		s.note("%s holds %s, %.3f to %.3f mL", k.ID, k.Supplement, k.RemainingMinML, k.RemainingMaxML)
	case "quantity":
		for _, q := range v.Quantities {
			if q.Quantity == args[1] && q.Level != nil {
				s.note("%s %.2f ± %.2f %s, use %.2f ± %.2f a day, %d tests used, %d aside", q.Quantity, *q.Level, *q.LevelSD, q.Unit, *q.ConsumptionPerDay, *q.ConsumptionSD, q.TestsUsed, q.TestsSetAside)
			}
		}
	case "advice":
		for _, q := range v.Quantities {
			if q.Quantity == args[1] {
				s.note("%s", adviceText(q))
			}
		}
	case "water":
		for _, y := range v.Systems {
			s.note("%s: %s", y.ID, waterText(y))
		}
	case "truth":
		for _, c := range s.r.site.Channels {
			_, tank := fullestDay(s.r.check.pours[c.ID], false)
			s.note("%s really delivered at most %.2f mL in 24 h into the tank", c.ID, tank/1000)
		}
	default:
		s.t.Fatalf("show %v: not understood", args)
	}
}

// adviceText is when to test next, and the sentences.
func adviceText(q machine.QuantityView) string {
	text := q.Quantity + ": next test "
	if q.NextTest != nil {
		text += q.NextTest.Format("01-02T15:04:05 ")
	}
	text += "(" + q.NextTestWhy + ")"
	for _, a := range q.Advice {
		text += "; " + string(a.Kind) + ": " + a.Text
	}
	return text
}

func waterText(y machine.SystemView) string {
	text := "saturation not known"
	if y.AragoniteSaturation != nil {
		text = fmt.Sprintf("saturation %.2f", *y.AragoniteSaturation)
	}
	if y.Balance == nil {
		return text + ", nothing to compare"
	}
	text += fmt.Sprintf(", wrong %v", y.Balance.Wrong)
	for _, f := range y.Balance.Findings {
		text += fmt.Sprintf("; %s: %s", f.Kind, f.Text)
	}
	return text
}

func blocks(list []machine.BlockView) string {
	if len(list) == 0 {
		return "nothing withheld"
	}
	var out []string
	for _, b := range list {
		until := ""
		if b.Until != nil {
			until = " until " + b.Until.Format("01-02T15:04:05")
		}
		out = append(out, string(b.Code)+until)
	}
	return "withheld: " + strings.Join(out, ", ")
}

// tally counts what a summary leaves out.
type tally struct {
	runs     map[string]int
	volume   map[string]safety.Microlitres
	outcomes map[machine.Outcome]int
	held     map[string]int
	stops    int
}

func (k *tally) sent(channel string, v safety.Microlitres) {
	if k.runs == nil {
		k.runs, k.volume = map[string]int{}, map[string]safety.Microlitres{}
	}
	k.runs[channel]++
	k.volume[channel] += v
}

func (k *tally) ended(o machine.Outcome) {
	if k.outcomes == nil {
		k.outcomes = map[machine.Outcome]int{}
	}
	k.outcomes[o]++
}

func (k *tally) withheld(w machine.WithheldEvent) {
	if k.held == nil {
		k.held = map[string]int{}
	}
	k.held[w.Channel+" "+string(w.Code)]++
}

func (k *tally) lines() []string {
	var out []string
	for _, c := range sortedKeys(k.runs) {
		out = append(out, fmt.Sprintf("in all %s: %d runs, %s", c, k.runs[c], k.volume[c]))
	}
	for _, o := range sortedKeys(k.outcomes) {
		out = append(out, fmt.Sprintf("in all %s: %d", o, k.outcomes[o]))
	}
	for _, h := range sortedKeys(k.held) {
		out = append(out, fmt.Sprintf("in all withheld %s: %d slots", h, k.held[h]))
	}
	if len(out) == 0 {
		return []string{"in all nothing ran"}
	}
	return out
}

func sortedKeys[K ~string, V any](m map[K]V) []K {
	keys := make([]K, 0, len(m))
	for k := range m {
		keys = append(keys, k)
	}
	sort.Slice(keys, func(i, j int) bool { return keys[i] < keys[j] })
	return keys
}
