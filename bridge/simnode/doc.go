// Package simnode imitates the pump nodes of a site, good ones and bad ones, for demonstrations, rehearsals and
// the fault simulator.
//
// It decides what a node does with a command, when its outputs switch, what it then says, and how much liquid
// really left each output. That last figure is the truth against which everybody else's bookkeeping is
// checked. Two kinds exist: Board speaks the bounded-run contract (a run carries an id, a number of seconds and
// an expiry; reports come back), Relay is an on/off switch with or without an off-timer of its own, and Supply
// is the relay that feeds the pumps of others. Faults make each of them misbehave.
//
// It never says anything on its own account but what such a device would say, knows nothing of channels, caps
// or plans, reads no clock and starts nothing: the caller passes true time with every call and delivers the
// returned messages. Times must not fall; an earlier time than the last one counts as the last one. They must
// lie in the years 1970 to 2261.
//
// What a board does, beyond the contract's wording:
//
//   - A run is judged in the order repeated, expired, busy, too_long, and its id is remembered whether it was
//     accepted or refused: a copy of a refused run must not start later.
//   - A run may still start at the very instant it expires, not after.
//   - A stop for "*" ends every run of the board, whatever output's topic it came on; a stop with an id ends the
//     run of that id, wherever it is. Stops that find nothing to end are not answered.
//   - seq starts at 1 after each boot and counts every report made, lost ones too.
//   - A board with a clock takes a run without an expiry for malformed; one without a clock does not need it.
//
// What a relay does: each command is answered with its state, retained, even if nothing changed; a second "on"
// starts the off-timer anew, so that the run gets longer, as such relays do.
package simnode
