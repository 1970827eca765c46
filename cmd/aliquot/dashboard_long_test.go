//go:build long

package main

import (
	"bytes"
	"cmp"
	"encoding/json"
	"fmt"
	"io"
	"net/http"
	"net/url"
	"os"
	"os/exec"
	"path/filepath"
	"regexp"
	"slices"
	"strings"
	"testing"
	"time"

	"aliquot/bridge/mqtt/mosquittotest"
)

// house is a real Home Assistant in a Python environment of its own.
type house struct {
	t     *testing.T
	dir   string
	base  string
	token map[string]any
}

// houseRelease is a release, the Python that it runs on, and what it installs by itself at its first start for the parts that
// are used here.
type houseRelease struct {
	python   string
	packages []string
}

// houseReleases are those that are tried: the oldest that is promised, and the newest that pip finds for Python 3.13.0.
var houseReleases = map[string]houseRelease{
	// A newer josepy lacks what this release asks of it.
	"2024.3.3": {"python3.11", []string{"homeassistant==2024.3.3", "paho-mqtt==1.6.1", "home-assistant-frontend==20240307.0", "aiohttp_cors==0.7.0",
		"aiohttp-fast-url-dispatcher==0.3.0", "aiohttp-zlib-ng==0.3.1", "janus==1.0.0", "SQLAlchemy==2.0.27", "fnv-hash-fast==0.5.0",
		"psutil-home-assistant==0.0.1", "Pillow==10.2.0", "josepy<2", "numpy==1.26.0"}},
	"2025.4.4": {"python3.13", []string{"homeassistant==2025.4.4", "paho-mqtt==2.1.0", "home-assistant-frontend==20250411.0"}},
}

// environment makes the Python environment of the release that HOUSE_RELEASE names, else 2024.3.3, or takes the one that
// HOUSE_ENV names.
func environment(t *testing.T) string {
	t.Helper()
	if ready := os.Getenv("HOUSE_ENV"); ready != "" {
		return ready
	}
	name := cmp.Or(os.Getenv("HOUSE_RELEASE"), "2024.3.3")
	release, ok := houseReleases[name]
	if !ok {
		t.Fatalf("HOUSE_RELEASE=%s: nobody knows what that release needs", name)
	}
	dir := filepath.Join(t.TempDir(), "env")
	mustRun(t, release.python, "-m", "venv", dir)
	mustRun(t, filepath.Join(dir, "bin", "pip"), append([]string{"install", "--quiet"}, release.packages...)...)
	return dir
}

func mustRun(t *testing.T, program string, args ...string) string {
	t.Helper()
	out, err := exec.Command(program, args...).CombinedOutput()
	if err != nil {
		t.Fatalf("%s %s: %v\n%s", program, strings.Join(args, " "), err, out)
	}
	return string(out)
}

const houseConfiguration = `homeassistant:
  name: Quay house
  time_zone: UTC
  unit_system: metric
frontend:
http:
  server_host: 127.0.0.1
  server_port: %d
logger:
  default: warning
  logs:
    homeassistant.components.mqtt: info
`

// openHouse starts the dashboard, makes its first user and joins it to the broker, all through its own interface.
func openHouse(t *testing.T, b *mosquittotest.Server) *house {
	t.Helper()
	env := environment(t)
	port := mosquittotest.FreePort(t)
	h := &house{t: t, dir: t.TempDir(), base: fmt.Sprintf("http://127.0.0.1:%d", port)}
	if err := os.WriteFile(filepath.Join(h.dir, "configuration.yaml"), fmt.Appendf(nil, houseConfiguration, port), 0o600); err != nil {
		t.Fatal(err)
	}
	// The steps behind the first user ask for things from the internet.
	done := `{"version":4,"minor_version":1,"key":"onboarding","data":{"done":["core_config","analytics","integration"]}}`
	if err := os.MkdirAll(filepath.Join(h.dir, ".storage"), 0o700); err != nil {
		t.Fatal(err)
	}
	if err := os.WriteFile(filepath.Join(h.dir, ".storage", "onboarding"), []byte(done), 0o600); err != nil {
		t.Fatal(err)
	}
	cmd := exec.Command(filepath.Join(env, "bin", "hass"), "--config", h.dir, "--skip-pip")
	var said bytes.Buffer
	cmd.Stdout, cmd.Stderr = &said, &said
	if err := cmd.Start(); err != nil {
		t.Fatal(err)
	}
	ended := make(chan struct{})
	go func() { _ = cmd.Wait(); close(ended) }()
	t.Cleanup(func() {
		_ = cmd.Process.Kill()
		<-ended
		if t.Failed() {
			t.Logf("the dashboard said:\n%s\n%s", said.String(), h.log())
		}
	})
	h.onboard()
	h.join(b)
	return h
}

// onboard makes the first user, as the first page of a new installation does.
func (h *house) onboard() {
	h.t.Helper()
	var made struct {
		Code string `json:"auth_code"`
	}
	body := map[string]any{"client_id": h.base + "/", "name": "Keeper", "username": "keeper", "password": "not a secret", "language": "en"}
	for late := time.Now().Add(90 * time.Second); ; {
		err := h.try("POST", "/api/onboarding/users", body, &made)
		if err == nil {
			break
		}
		if time.Now().After(late) {
			h.t.Fatalf("the dashboard does not start: %v", err)
		}
		time.Sleep(time.Second)
	}
	answer, err := http.PostForm(h.base+"/auth/token", url.Values{"grant_type": {"authorization_code"}, "code": {made.Code}, "client_id": {h.base + "/"}})
	if err != nil {
		h.t.Fatal(err)
	}
	defer answer.Body.Close()
	if err := json.NewDecoder(answer.Body).Decode(&h.token); err != nil {
		h.t.Fatal(err)
	}
}

// join adds the broker, as a keeper does on the page of integrations.
func (h *house) join(b *mosquittotest.Server) {
	h.t.Helper()
	var flow struct {
		ID     string         `json:"flow_id"`
		Type   string         `json:"type"`
		Errors map[string]any `json:"errors"`
	}
	h.call("POST", "/api/config/config_entries/flow", map[string]any{"handler": "mqtt"}, &flow)
	host, port, _ := strings.Cut(b.Addr, ":")
	var number int
	fmt.Sscan(port, &number)
	h.call("POST", "/api/config/config_entries/flow/"+flow.ID, map[string]any{"broker": host, "port": number}, &flow)
	if flow.Type != "create_entry" {
		h.t.Fatalf("the dashboard does not join the broker: %+v", flow)
	}
}

func (h *house) try(method, path string, body, into any) error {
	payload, err := json.Marshal(body)
	if err != nil {
		return err
	}
	request, err := http.NewRequest(method, h.base+path, bytes.NewReader(payload))
	if err != nil {
		return err
	}
	request.Header.Set("Content-Type", "application/json")
	if access, ok := h.token["access_token"].(string); ok {
		request.Header.Set("Authorization", "Bearer "+access)
	}
	answer, err := http.DefaultClient.Do(request)
	if err != nil {
		return err
	}
	defer answer.Body.Close()
	text, err := io.ReadAll(answer.Body)
	if err != nil {
		return err
	}
	if answer.StatusCode/100 != 2 {
		return fmt.Errorf("%s %s: %s: %s", method, path, answer.Status, text)
	}
	if into == nil {
		return nil
	}
	return json.Unmarshal(text, into)
}

func (h *house) call(method, path string, body, into any) {
	h.t.Helper()
	if err := h.try(method, path, body, into); err != nil {
		h.t.Fatal(err)
	}
}

// shown is an entity as the dashboard has it.
type shown struct {
	ID         string         `json:"entity_id"`
	State      string         `json:"state"`
	Attributes map[string]any `json:"attributes"`
}

func (h *house) states() map[string]shown {
	h.t.Helper()
	var list []shown
	h.call("GET", "/api/states", nil, &list)
	all := map[string]shown{}
	for _, s := range list {
		all[s.ID] = s
	}
	return all
}

// await waits until an entity is as wanted.
func (h *house) await(id, what string, wanted func(shown) bool) shown {
	h.t.Helper()
	late := time.Now().Add(patience)
	for {
		s, ok := h.states()[id]
		if ok && wanted(s) {
			return s
		}
		if time.Now().After(late) {
			h.t.Fatalf("%s is %+v (there: %v); want %s", id, s, ok, what)
		}
		time.Sleep(200 * time.Millisecond)
	}
}

func (h *house) is(id, state string) shown {
	h.t.Helper()
	return h.await(id, state, func(s shown) bool { return s.State == state })
}

func (h *house) do(service, entity string, more map[string]any) {
	h.t.Helper()
	body := map[string]any{"entity_id": entity}
	for k, v := range more {
		body[k] = v
	}
	h.call("POST", "/api/services/"+service, body, nil)
}

func (h *house) log() string {
	b, _ := os.ReadFile(filepath.Join(h.dir, "home-assistant.log"))
	return string(b)
}

var complaint = regexp.MustCompile(`(?m)^\S+ \S+ (WARNING|ERROR|CRITICAL) .*$`)

// ofTheInstallation are those who complain of parts of it that nobody here needs and that are not installed.
var ofTheInstallation = []string{"[homeassistant.bootstrap]", "[homeassistant.setup]", "[aiohttp_fast_zlib]", "[homeassistant.components.camera.img_util]"}

// complaints are the lines of the log that are warnings or worse, but for those about the installation itself.
func (h *house) complaints() []string {
	return slices.DeleteFunc(complaint.FindAllString(h.log(), -1), func(line string) bool {
		return slices.ContainsFunc(ofTheInstallation, func(who string) bool { return strings.Contains(line, who) })
	})
}
