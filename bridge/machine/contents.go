package machine

// Content is what a container can hold at least and at most.
type Content struct {
	Container                        string
	MinML, MaxML, CapacityML, StopML float64
}

// Contents gives what every container holds by the rows that were folded. The state is not changed.
func Contents(s *State) []Content {
	out := make([]Content, 0, len(s.contents))
	for i := range s.contents {
		k := &s.contents[i]
		out = append(out, Content{k.cfg.ID, max(0, k.min).Millilitres(), max(0, k.max).Millilitres(), k.cfg.Capacity.Millilitres(), k.cfg.Stop.Millilitres()})
	}
	return out
}
