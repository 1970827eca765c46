package machine

// Commands says whether effects tell a node anything, or take something from it that was told.
func Commands(effects []Effect) bool {
	for _, e := range effects {
		switch e.(type) {
		case SendRun, StopRuns, ClearRetained:
			return true
		}
	}
	return false
}

// Join makes one list of the effects of steps that followed each other, so that their rows go to the disk in one
// transaction. None but the last may hold Commands: else a stop of a later step could leave before the run of an earlier one.
func Join(steps [][]Effect) []Effect {
	var urgent, out []Effect
	var rows []Row
	for _, effects := range steps {
		early := urgentIn(effects)
		urgent = append(urgent, effects[:early]...)
		for _, e := range effects[early:] {
			if a, ok := e.(Append); ok {
				rows = append(rows, a.Rows...)
				continue
			}
			out = append(out, e)
		}
	}
	if len(rows) > 0 {
		urgent = append(urgent, Append{Rows: rows})
	}
	return append(urgent, out...)
}

// urgentIn is how many of a step's effects stand first since they need no ledger.
func urgentIn(effects []Effect) int {
	for i, e := range effects {
		switch e.(type) {
		case StopRuns, ClearRetained:
		default:
			return i
		}
	}
	return len(effects)
}
