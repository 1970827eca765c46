// Package payload reads one inbound JSON payload strictly: bounded size, valid UTF-8, bounded depth, no
// duplicate names, nothing behind the value, names in the case they are documented in. What it refuses it
// explains in words for a person who typed the payload by hand.
//
// It knows no topic, no verb and no unit, and it never repairs or guesses.
package payload
