// Package estimate works out, from tests and from what was delivered, the present level of each quantity of one
// system and how much of it is used in a day.
//
// It decides whether a test agrees with the prediction (Accepted) or waits for a second one (Held). It never
// decides a dose, reads no clock and keeps no history: whoever learns of something late folds again from the
// start. Everything is in canonical units of the whole system: dKH and mg/L, per day where it is a use.
//
// Times given to a Filter never fall. An earlier time counts as the latest one that the quantity has seen; at
// equal times the order of the calls decides, so that a test entered after a dose of the same instant has
// that dose in its prediction.
package estimate
