// Package topics says what stands on each topic below <prefix>/<site>/ and how it reads: the layout, every
// payload that the service publishes, and every payload that it takes.
//
// It decides whether a payload is well formed: size, JSON, fields, kinds of value. It never decides whether what a
// payload says makes sense: names, units and ranges are judged by package machine. It knows no connection and
// publishes nothing.
//
// TOPICS.md beside this directory is its document; the table of requests there is made from Verbs.
package topics
