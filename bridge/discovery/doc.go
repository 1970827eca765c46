// Package discovery says what a site offers to a home-automation dashboard, in the form that many of them read: one
// retained JSON object for each entity at <prefix>/<component>/<node>/<object>/config.
//
// It decides which entities there are, what they are called, which of our own topics they read, and which of our own
// requests their buttons, switches and numbers send. It never decides what a request does, adds no topic for
// commands, and says nothing that only one release of a dashboard understands: what is written here is accepted
// by the release 2024.3 of Home Assistant and by those since, each without a warning (the tests hold the rules of
// both). It knows no connection and publishes nothing.
package discovery
