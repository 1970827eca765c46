package machine

import (
	"fmt"

	"aliquot/safety"
)

// restShare is by how much of it what a keeper measured as used may differ from what ran, percent, besides the error of
// reading a container (H-23). Common practice for pumps that are calibrated.
const restShare = 10

// restState is what a keeper's own measurements say of the count. It rests on rows.
type restState struct {
	known bool
	told  safety.Microlitres // what was stated last, and what was added since
	doubt string             // how the last statement disagrees; empty: it does not
}

// compareRest compares a stated rest with what ran since the last statement, before the counts start anew. Where nothing
// is said of what was added, more than was expected may have been poured in: only too little is a doubt then.
func (k *containerState) compareRest(b Refill) {
	if b.Remaining == nil {
		k.rest.told = min(k.rest.told+b.Added, k.cfg.Capacity)
		return
	}
	if k.rest.known {
		used := k.rest.told - (*b.Remaining - b.Added)
		least, most := k.rest.told-k.max, k.rest.told-k.min
		tooMuch := used > most+most*restShare/100+k.levelError()
		tooLittle := b.Added > 0 && used < least-least*restShare/100-k.levelError()
		k.rest.doubt = ""
		if tooMuch || tooLittle {
			k.rest.doubt = fmt.Sprintf("by what was measured %s of container %s were used, by what ran %s to %s", used, k.cfg.ID, least, most)
		}
	}
	k.rest.known, k.rest.told = true, min(*b.Remaining, k.cfg.Capacity)
}
