// Package commission is the conversation that takes a channel from a wall with a pump on it to a schedule that its
// keeper has seen and agreed to: placement, contents, direction and self-stop, priming, calibration, test run, handover.
//
// It decides what is asked next, what an answer means and which request follows, and puts it into words. It never
// runs a pump, reads no clock and no terminal: what it wants sent goes to the service like every other request, and
// the gate there has the last word. What is done it takes from the service's state, so that a session can be left at
// any point and taken up again.
package commission
