//go:build long

package main

import (
	"fmt"
	"net/http"
	"os"
	"os/exec"
	"path/filepath"
	"slices"
	"strings"
	"testing"
	"time"

	"aliquot/bridge/machine"
	"aliquot/bridge/mqtt/mosquittotest"
)

// TestFlow reads and steers a site through the flow of deploy/node-red in a real Node-RED, by its page in a browser.
// FLOW_MODULES names the node_modules with node-red and its dashboard.
func TestFlow(t *testing.T) {
	modules := os.Getenv("FLOW_MODULES")
	if modules == "" {
		t.Fatal("FLOW_MODULES must name the node_modules with node-red and @flowfuse/node-red-dashboard")
	}
	b := mosquittotest.Start(t, mosquittotest.Options{})
	r := newRig(t, b, "jetty")
	r.commission()
	r.nodes()
	p := r.daemon("")
	r.owns(p)
	flow := openFlow(t, modules, b, "aliquot/jetty")
	said, err := exec.Command("node", filepath.Join("testdata", "dashboard", "flow.cjs"), flow+"/dashboard/tank", os.Getenv("HOUSE_PICTURES")).CombinedOutput()
	if err != nil {
		t.Fatalf("the page: %v\n%s", err, said)
	}
	r.channel(r.from, "alk", func(v machine.ChannelView) bool { return v.PlannedMLPerDay > 0 })
	var done []string
	for _, row := range r.rows() {
		if row.By != "node-red" {
			continue
		}
		switch b := row.Body.(type) {
		case machine.Test:
			done = append(done, fmt.Sprintf("test %.1f", b.Value))
		case machine.Hold:
			done = append(done, fmt.Sprintf("hold %s %g min", b.Reason, b.Length.Duration().Minutes()))
		case machine.Release:
			done = append(done, "release")
		case machine.AlertChanged:
			done = append(done, fmt.Sprintf("%s acknowledged %v", b.Name, b.Acknowledged))
		}
	}
	want := []string{"test 7.6", "proof-fixed acknowledged true", "hold node-red 60 min", "release", "hold node-red 60 min", "release"}
	if !slices.Equal(done, want) {
		t.Errorf("by the page there stand in the ledger %q; want %q", done, want)
	}
}

// openFlow starts Node-RED with the flow, changed to the broker and the site of the test, and gives its address.
func openFlow(t *testing.T, modules string, b *mosquittotest.Server, root string) string {
	t.Helper()
	base, _ := openRed(t, modules, shippedFlow(t, b, root), "/dashboard/tank")
	return base
}

// shippedFlow is the flow of deploy/node-red for a broker and a site.
func shippedFlow(t *testing.T, b *mosquittotest.Server, root string) string {
	t.Helper()
	flow, err := os.ReadFile(filepath.Join("..", "..", "deploy", "node-red", "flows.json"))
	if err != nil {
		t.Fatal(err)
	}
	_, brokerPort, _ := strings.Cut(b.Addr, ":")
	return strings.NewReplacer("aliquot/workshop", root, `"18830"`, fmt.Sprintf("%q", brokerPort)).Replace(string(flow))
}

// openRed starts Node-RED with flows and waits until it serves a page; it gives its address.
func openRed(t *testing.T, modules, flows, page string) (string, *process) {
	t.Helper()
	dir, port := t.TempDir(), mosquittotest.FreePort(t)
	settings := fmt.Sprintf("module.exports = { uiHost: '127.0.0.1', uiPort: %d, flowFile: 'flows.json', telemetry: { enabled: false, updateNotification: false } };\n", port)
	for name, content := range map[string]string{"flows.json": flows, "settings.js": settings, "package.json": `{"name":"flow","dependencies":{"@flowfuse/node-red-dashboard":"*"}}`} {
		if err := os.WriteFile(filepath.Join(dir, name), []byte(content), 0o600); err != nil {
			t.Fatal(err)
		}
	}
	if err := os.Symlink(modules, filepath.Join(dir, "node_modules")); err != nil {
		t.Fatal(err)
	}
	p := launch(t, []string{"node", filepath.Join(modules, "node-red", "red.js"), "--userDir", dir, "--settings", filepath.Join(dir, "settings.js")}, "Node-RED")
	t.Cleanup(func() {
		if p.said("[error]") {
			t.Errorf("Node-RED complains:\n%s", p.out.text())
		}
	})
	base := fmt.Sprintf("http://127.0.0.1:%d", port)
	for late := time.Now().Add(time.Minute); ; time.Sleep(200 * time.Millisecond) {
		answer, err := http.Get(base + page)
		if err == nil {
			_ = answer.Body.Close()
			if answer.StatusCode == http.StatusOK {
				return base, p
			}
		}
		if time.Now().After(late) {
			t.Fatalf("Node-RED does not serve the page: %v", err)
		}
	}
}
