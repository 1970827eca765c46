package topics

import (
	"fmt"
	"time"

	"aliquot/bridge/machine"
	"aliquot/bridge/topics/payload"
)

type ownerPayload struct {
	Instance string    `json:"instance"`
	Epoch    int64     `json:"epoch"`
	At       time.Time `json:"at"`
}

// RenderOwner gives the retained record of the instance that may dose (H-07).
func (l Layout) RenderOwner(w machine.WriteOwner) Message {
	return Message{l.Owner(), mustMarshal(ownerPayload{w.Instance, w.Epoch, w.At.UTC()}), 1, true}
}

// RenderNoOwner takes the record away.
func (l Layout) RenderNoOwner() Message { return Message{l.Owner(), nil, 1, true} }

// ParseOwner reads an owner record. An empty payload means that the record was removed.
func ParseOwner(data []byte) (machine.OwnerSeen, error) {
	if len(data) == 0 {
		return machine.OwnerSeen{Gone: true}, nil
	}
	var seen machine.OwnerSeen
	o, bad := payload.Read(data)
	if bad != nil {
		return seen, fmt.Errorf("owner record: %w", bad)
	}
	instance, bad := o.Text("instance", maxName)
	if bad != nil {
		return seen, fmt.Errorf("owner record: %w", bad)
	}
	epoch, bad := o.Count("epoch")
	if bad != nil {
		return seen, fmt.Errorf("owner record: %w", bad)
	}
	at, bad := o.Time("at")
	if bad != nil {
		return seen, fmt.Errorf("owner record: %w", bad)
	}
	if instance == "" || at == nil {
		return seen, fmt.Errorf(`owner record: "instance" and "at" are needed`)
	}
	return machine.OwnerSeen{Instance: instance, Epoch: epoch, At: *at}, nil
}
