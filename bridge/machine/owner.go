package machine

import (
	"fmt"
	"strings"
	"time"

	"aliquot/safety"
)

// One site has one owner (H-07). The owner record is retained on the broker. A process that connects waits for
// a foreign record, writes its own if no live one is there, and takes the gate only after its own has come back.
// A process that ends in order takes its record away. One that an earlier process of this ledger left may belong to a
// daemon that is alive, on another copy of the file: it is given the time to renew it.
const (
	ownerLook = time.Second                 // to wait for a record of somebody else
	ownerPast = safety.Beat + safety.Beat/2 // to wait for the renewal of an earlier process's
	ownerHold = 2 * time.Second             // from writing to believing
)

// self is this process in the owner record: the ledger's own name, and the process's.
func (s *State) self() string { return s.instance + "/" + s.nonce }

// predecessor says whether a record was left by an earlier process on this very ledger. Two copies of a ledger
// that were started equally often are told apart by the process's part of the name.
func (s *State) predecessor(e OwnerSeen) bool {
	ledger, _, _ := strings.Cut(e.Instance, "/")
	return ledger == s.instance && e.Epoch < s.epoch
}

func (t *turn) ownerSeen(e OwnerSeen) {
	switch {
	case e.Gone: // its process ended in order, or an operator took it away
		t.past = OwnerSeen{}
		return
	case t.predecessor(e) && !t.owner.wrote && (t.past == OwnerSeen{} || t.past == e):
		t.past = e
		return
	case e.Instance == t.self():
		t.owner.readBack = t.owner.wrote
		return
	}
	live := t.wall().Sub(e.At) < safety.OwnerStale
	if !live && !t.predecessor(e) {
		return
	}
	t.past = OwnerSeen{}
	if t.owner.foreign != e.Instance {
		t.log(Err, "another instance owns this site; dosing stops", "instance", e.Instance)
	}
	t.owner.foreign, t.owner.seenMono = e.Instance, t.now.Mono
	t.owner.sure, t.owner.wrote, t.owner.readBack = false, false, false
}

// ownershipTick writes the record when it is time, and opens the gate when it has come back.
func (t *turn) ownershipTick() {
	o := &t.owner
	if !t.linkUp {
		return
	}
	if o.foreign != "" {
		if t.now.Mono-o.seenMono < safety.OwnerStale+t.patience() {
			return
		}
		o.foreign, o.linkMono = "", t.now.Mono
	}
	due := !o.wrote && t.now.Mono-o.linkMono >= t.ownerWait()
	renew := o.wrote && t.now.Mono-o.renewed >= safety.Beat
	if due || renew {
		if due {
			o.wroteMono = t.now.Mono
		}
		o.wrote, o.renewed = true, t.now.Mono
		t.do(WriteOwner{Instance: t.self(), Epoch: t.epoch, At: t.wall()})
	}
	if o.readBack && !o.sure && t.now.Mono-o.wroteMono >= ownerHold {
		o.sure = true
		t.log(Info, "this instance owns the site")
	}
}

// ownerWait is how long a process looks at a new connection before it writes its record.
func (t *turn) ownerWait() time.Duration {
	if t.past != (OwnerSeen{}) {
		return ownerPast
	}
	return ownerLook
}

// releaseOwner takes the record away, so that the next process need not wait. Another's stays.
func (t *turn) releaseOwner() {
	if t.linkUp && t.owner.sure {
		t.do(ClearOwner{})
	}
}

// patience differs between instances, so that two that block each other do not return at the same moment.
func (t *turn) patience() time.Duration {
	var sum uint32
	for _, b := range []byte(t.nonce) {
		sum = sum*31 + uint32(b)
	}
	return time.Duration(sum%20) * time.Second
}

// foreignOwner names who else owns the site.
func (s *State) foreignOwner() string {
	if ledger, _, _ := strings.Cut(s.owner.foreign, "/"); ledger == s.instance {
		return fmt.Sprintf("another instance (%s), which has a copy of this ledger,", s.owner.foreign)
	}
	return fmt.Sprintf("another instance (%s)", s.owner.foreign)
}

func (s *State) ownerText() string {
	if s.owner.foreign != "" {
		return fmt.Sprintf("%s owns this site; stop one of the two", s.foreignOwner())
	}
	if s.past != (OwnerSeen{}) {
		return fmt.Sprintf("the process before this one did not end in order; %s are given to see that it is gone", ownerPast)
	}
	return "the owner record is not confirmed yet; this takes some seconds after a connection"
}
