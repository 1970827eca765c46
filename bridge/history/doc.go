// Package history reads and writes a site's history as JSON Lines: one object a line, times ascending, RFC 3339,
// a unit in every name or beside every value. It is the form in which histories are kept outside, exchanged,
// rehearsed and planned from; anybody's script can write it.
//
// It decides what a line means, and nothing else: it never judges whether a test can be believed, never fills
// in what a line does not say, and holds no state of a site. What it cannot read without doubt is an error that
// names the line.
//
// Reading what was written gives rows with the same effect. Not carried, because no line type has a place for it:
//   - the true time axis and the trust in the clock: a row's Elapsed follows from its time, and it is trusted;
//   - the moment at which a row about an earlier time was recorded, except that of tests;
//   - of a run: slot, rate, tolerance, worst case, hi and lo, and what raised hi later. A refused run, one whose
//     end is not recorded and one that only raised hi are `unknown`. A proof run is a `test` into a vessel;
//   - of a calibration: rate and offset, which follow from the trials. Those of a row that was written before offsets
//     were counted, and whose trials differ in length, may so gain one;
//   - of a test: that the keeper insisted on an unusual value;
//   - of a probe's mean: when its batch began, and the count of readings;
//   - of a self-stop proof and of an acceptance: the fingerprint of the configuration. They must be earned anew;
//   - latched interlocks, answers, alerts, carried slots, starts and stops of the daemon.
package history
