package machine

// readings takes some that came together, and looks once at what they all say: a look costs as much as the site is large.
// Before anything speaks a second time there is a look in between, so that an interlock misses no reading that it would
// have seen if each had come alone.
func (t *turn) readings(list Readings) {
	type speaker struct {
		level bool
		id    string
	}
	spoke := make(map[speaker]bool, len(list))
	first := func(who speaker) {
		if spoke[who] {
			t.maybeLook()
			clear(spoke)
		}
		spoke[who] = true
	}
	for _, e := range list {
		switch e := e.(type) {
		case ProbeRead:
			first(speaker{id: e.Probe})
			t.probeRead(e)
		case LevelRead:
			first(speaker{id: e.Container, level: true})
			t.levelRead(e)
		}
	}
}
