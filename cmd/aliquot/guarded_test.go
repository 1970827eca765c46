package main

import (
	"encoding/json"
	"fmt"
	"testing"

	"aliquot/bridge/machine"
	"aliquot/bridge/mqtt/mosquittotest"
)

// users of a broker that asks who they are.
func users() map[string]string {
	return map[string]string{"aliquot": password, "nodes": password, "keeper": password, "spy": password, "stranger": password}
}

// accessRules are what each user may do, as the broker's documentation of this project advises. commands is what
// the service may do on its nodes' command topics.
func accessRules(site, commands string) string {
	return fmt.Sprintf(`user aliquot
topic readwrite aliquot/%[1]s/#
topic %[2]s %[1]s/board/+/run
topic %[2]s %[1]s/board/+/stop
topic %[2]s %[1]s/timed/set
topic %[2]s %[1]s/fixed/set
topic read %[1]s/board/+/report
topic read %[1]s/+/state
topic read %[1]s/+/online
user nodes
topic read %[1]s/board/+/run
topic read %[1]s/board/+/stop
topic read %[1]s/timed/set
topic read %[1]s/fixed/set
topic write %[1]s/board/+/report
topic write %[1]s/+/state
topic write %[1]s/+/online
user keeper
topic write aliquot/%[1]s/ask/#
topic read aliquot/%[1]s/#
user spy
topic readwrite #
user stranger
topic readwrite strange/#
`, site, commands)
}

// newGuardedRig is a rig at a broker that asks who its clients are. The spy may do everything; whatever the test
// says of the service, its nodes and its keeper goes through the rules.
func newGuardedRig(t *testing.T, b *mosquittotest.Server, site string, change ...func(*quay)) *rig {
	t.Helper()
	r := &rig{t: t, broker: b, quay: newQuay(t, b, site)}
	for _, c := range change {
		c(&r.quay)
	}
	r.quay.User, r.quay.PasswordFile = "aliquot", passwordFile(t)
	r.config = r.quay.write(t, "site.yaml")
	r.spy = join(t, b, "spy", "spy-"+site, "#")
	r.keeper = join(t, b, "keeper", "keeper-"+site)
	return r
}

// configOf is the site's configuration with another user at the broker.
func (r *rig) configOf(user string) string {
	r.t.Helper()
	if r.quay.User == "" {
		return r.config
	}
	q := r.quay
	q.User = user
	return q.write(r.t, "site.yaml")
}

// runOf reads the run from the answer to a request that started one.
func runOf(t *testing.T, a reply) string {
	t.Helper()
	var result machine.RunResult
	if !a.OK || json.Unmarshal(a.Result, &result) != nil || result.Run == "" {
		t.Fatalf("no run was started: %s (%s)", a.Text, a.Code)
	}
	return result.Run
}
