package config

import (
	"fmt"
	"net/netip"
	"net/url"
	"os"
	"strconv"
	"strings"
	"time"
	_ "time/tzdata" // a small board's system image may come without zones
)

// Load reads and parses the file at path. It opens no other file. A file that cannot be read is a problem.
func Load(path string) (*Site, Problems, Problems) {
	data, err := os.ReadFile(path)
	if err != nil {
		return nil, Problems{{File: path, Found: "the file cannot be read: " + err.Error()}}, nil
	}
	return Parse(path, data)
}

// Parse checks a site's configuration; name stands for the file in messages. The site is nil exactly if there
// are problems. Warnings come with or without problems: what is not guarded because a key was left out, and
// figures that the keeper should look at. It panics on no input.
func Parse(name string, data []byte) (site *Site, problems, warnings Problems) {
	r := newReader(name)
	if root, ok := r.document(data); ok {
		site = r.readSite(root)
		r.relate(site)
	}
	warnings = r.warnings.sorted()
	if len(r.problems) > 0 {
		return nil, r.problems.sorted(), warnings
	}
	site.NotYet, site.places, site.text = r.notYet, r.places, data
	return site, nil, warnings
}

// readSite reads every section. What could not be read stays zero; the relations skip it.
func (r *reader) readSite(root value) *Site {
	s := &Site{File: r.file}
	r.places[""] = root.at
	m, ok := root.open()
	if !ok {
		return s
	}
	take(m, "site", &s.Name, readName)
	take(m, "timezone", &s.Zone, readZone)
	if v, ok := m.get("clock"); ok {
		if c, ok := v.open(); ok {
			take(c, "trust", &s.ClockTrust, readWord(Synced, Confirmed))
		}
	}
	take(m, "mqtt", &s.MQTT, readMQTT)
	if v, ok := m.get("http"); ok {
		if h, ok := v.open(); ok {
			take(h, "listen", &s.HTTP.Listen, readListen)
			take(h, "token_file", &s.HTTP.TokenFile, readFile)
		}
	}
	if v, ok := m.get("ledger"); ok {
		if l, ok := v.open(); ok {
			take(l, "path", &s.Ledger.Path, readLedgerPath)
			take(l, "keep", &s.Ledger.Keep, duration(KeepLeast, 100*KeepLeast))
		}
	}
	if v, ok := m.get("plan"); ok {
		if p, ok := v.open(); ok {
			take(p, "tick", &s.PlanTick, readTick)
		}
	}
	take(m, "alerts", &s.Alerts, readAlerts)
	r.readParts(m, s)
	return s
}

// readParts reads the named things of a site.
func (r *reader) readParts(m mapping, s *Site) {
	s.Systems = readNamed(m, "systems", readSystem)
	s.Supplements = readNamed(m, "supplements", readSupplement)
	s.Containers = readNamed(m, "containers", readContainer)
	s.Nodes = readNamed(m, "nodes", readNode)
	s.Channels = readNamed(m, "channels", readChannel)
	s.Probes = readNamed(m, "probes", readProbe)
	s.Interlocks = readListed(m, "interlocks", func(v value) (Interlock, bool) { return readInterlock(v, s.Probes) })
	for _, group := range readListed(m, "keep_apart", readApart) {
		s.KeepApart = append(s.KeepApart, group...)
	}
}

// readNamed reads a mapping of names. An entry with problems is kept as far as it could be read, so that
// others may refer to it.
func readNamed[T any](m mapping, key string, read func(entry) T) []T {
	v, ok := m.get(key)
	if !ok {
		return nil
	}
	names, ok := v.open()
	if !ok {
		return nil
	}
	var out []T
	for _, e := range names.named() {
		out = append(out, read(e))
	}
	return out
}

// readListed reads a list of entries.
func readListed[T any](m mapping, key string, read func(value) (T, bool)) []T {
	v, ok := m.get(key)
	if !ok {
		return nil
	}
	items, ok := v.list()
	if !ok {
		return nil
	}
	var out []T
	for _, item := range items {
		if t, ok := read(item); ok {
			out = append(out, t)
		}
	}
	return out
}

func readZone(v value) (*time.Location, bool) {
	s, ok := v.text()
	if !ok {
		return nil, false
	}
	zone, err := time.LoadLocation(s)
	if err != nil || s == "Local" {
		v.problem(fmt.Sprintf("%q is no known zone", clip(s)), v.wantedType(), "write Region/City with its capital letters")
		return nil, false
	}
	return zone, true
}

// readListen reads host:port. An empty host means every address of the machine.
func readListen(v value) (string, bool) {
	s, ok := readLine(v)
	if !ok {
		return "", false
	}
	_, port, ok := splitListen(s)
	n, perr := strconv.ParseUint(port, 10, 16)
	if !ok || perr != nil || strconv.FormatUint(n, 10) != port || strings.ContainsAny(s, " /@") {
		v.problem(fmt.Sprintf("%q is no address with a port", clip(s)), v.wantedType(), "")
		return "", false
	}
	return s, true
}

// loopback says whether a host is this machine itself.
func loopback(host string) bool {
	if strings.EqualFold(host, "localhost") {
		return true
	}
	ip, err := netip.ParseAddr(host)
	return err == nil && ip.IsLoopback()
}

// loopbackListen is loopback for host:port. An empty host is every address, so it is not.
func loopbackListen(listen string) bool {
	host, _, ok := splitListen(listen)
	return ok && loopback(host)
}

// splitListen splits host:port; an IPv6 address stands in brackets.
func splitListen(listen string) (host, port string, ok bool) {
	i := strings.LastIndex(listen, ":")
	if i < 0 {
		return "", "", false
	}
	host, port = listen[:i], listen[i+1:]
	if inner, ok := strings.CutPrefix(host, "["); ok {
		host, ok = strings.CutSuffix(inner, "]")
		ip, err := netip.ParseAddr(host)
		return host, port, ok && err == nil && ip.Is6()
	}
	return host, port, !strings.ContainsAny(host, ":[]")
}

// readLedgerPath refuses what the database would not take as a file on a disk.
func readLedgerPath(v value) (string, bool) {
	s, ok := readFile(v)
	if !ok {
		return "", false
	}
	if strings.Contains(s, ":memory:") || strings.HasPrefix(s, "file:") || strings.ContainsAny(s, "?#%") {
		v.problem(fmt.Sprintf("%q is no plain path", clip(s)), "must be a file on a local disk: what was dosed must outlive a power cut", "")
		return "", false
	}
	return s, true
}

// readTick is a schedule that fires at least once in any 24 h.
func readTick(v value) (Schedule, bool) {
	s, ok := readSchedule(v)
	if !ok {
		return s, false
	}
	cal, ok := newCalendar(s, 1, naiveStart)
	for day := firstDay; ok && day.Before(lastDay); day = day.AddDate(0, 0, 1) {
		if !cal.on(day) {
			v.problem(fmt.Sprintf("%q leaves out whole days, such as %s", s.Text, day.Format("2 January")),
				"plans must be made at least once in any 24 h", "put * for day, month and day of week")
			return s, false
		}
	}
	return s, ok
}

// brokerAddress reads mqtt://host:port or mqtts://host:port. Its messages never repeat what may be a password.
func brokerAddress(v value, s string) (host string, port int, tls, ok bool) {
	u, err := url.Parse(s)
	switch {
	case err != nil || u.Host == "" && u.Opaque == "":
		v.problem("the broker's address cannot be read", v.wantedType(), "")
		return "", 0, false, false
	case u.User != nil:
		v.problem("the broker's address holds a user or password", v.wantedType(), "use username and password_file")
		return "", 0, false, false
	case u.Scheme != "mqtt" && u.Scheme != "mqtts":
		v.problem(fmt.Sprintf("found the scheme %q", clip(u.Scheme)), v.wantedType(), schemeHint(u.Scheme))
		return "", 0, false, false
	case u.Hostname() == "" || strings.Trim(u.Path, "/") != "" || u.RawQuery != "" || u.Fragment != "":
		v.problem(fmt.Sprintf("%q is more or less than a host and a port", clip(s)), v.wantedType(), "")
		return "", 0, false, false
	}
	port = map[string]int{"mqtt": 1883, "mqtts": 8883}[u.Scheme]
	if p := u.Port(); p != "" {
		n, err := strconv.ParseUint(p, 10, 16)
		if err != nil || n == 0 {
			v.problem(fmt.Sprintf("port %s is out of range", clip(p)), "must be 1 to 65535", "")
			return "", 0, false, false
		}
		port = int(n)
	}
	return u.Hostname(), port, u.Scheme == "mqtts", true
}

func schemeHint(scheme string) string {
	switch scheme {
	case "tcp":
		return "write mqtt://"
	case "ssl", "tls":
		return "write mqtts://"
	case "ws", "wss", "http", "https":
		return "websockets are not used: give the broker's MQTT port"
	}
	return ""
}
