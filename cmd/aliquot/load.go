package main

import (
	"fmt"
	"io"
	"runtime/debug"
	"strings"

	"aliquot/bridge/discovery"
	"aliquot/bridge/node"
	"aliquot/bridge/topics"
	"aliquot/config"
)

// loaded is a configuration that passed every check, and what was made of it.
type loaded struct {
	*config.Site
	warnings config.Problems
	codecs   []*node.Codec
}

func (l loaded) layout() topics.Layout { return topics.Layout{Prefix: l.MQTT.Prefix, Site: l.Name} }

// announcer makes the announcements for dashboards; nil if none are wanted.
func (l loaded) announcer() *discovery.Announcer {
	if !l.MQTT.Discovery.Enabled {
		return nil
	}
	a := &discovery.Announcer{Prefix: l.MQTT.Discovery.Prefix, Layout: l.layout(), Version: version()}
	for _, y := range l.Systems {
		for _, q := range y.Quantities {
			a.Entries = append(a.Entries, discovery.Entry{System: y.ID, Quantity: q.Quantity, Unit: q.Unit})
		}
	}
	return a
}

// load reads a configuration. Every problem is told at once; one that does not pass never runs.
func load(path string) (loaded, error) {
	site, problems, warnings := config.Load(path)
	if site == nil {
		return loaded{}, notAccepted(problems)
	}
	return complete(site, warnings)
}

// complete adds the checks that the nodes' own language needs.
func complete(site *config.Site, warnings config.Problems) (loaded, error) {
	l := loaded{Site: site, warnings: warnings}
	var problems config.Problems
	for _, s := range nodeSpecs(site) {
		c, err := node.Compile(s)
		if err != nil {
			problems = append(problems, nodeProblems(site, s.ID, err)...)
			continue
		}
		l.codecs = append(l.codecs, c)
	}
	if len(problems) == 0 {
		if err := node.Distinct(l.codecs...); err != nil {
			problems = append(problems, config.Problem{File: site.File, Path: "nodes", Found: err.Error()})
		}
	}
	if len(problems) > 0 {
		return loaded{}, notAccepted(problems)
	}
	return l, nil
}

// nodeProblems puts the file's place to what the node's codec found.
func nodeProblems(site *config.Site, id string, err error) config.Problems {
	p, ok := err.(*node.Problems)
	if !ok {
		return config.Problems{{File: site.File, Path: "nodes." + id, Found: err.Error()}}
	}
	var out config.Problems
	for _, one := range p.All {
		path := "nodes." + id
		if one.Key != "" {
			path += "." + one.Key
		}
		at, found := site.Where(path)
		if !found {
			at, _ = site.Where("nodes." + id)
		}
		out = append(out, config.Problem{File: site.File, At: at, Path: path, Found: one.Text})
	}
	return out
}

func notAccepted(problems config.Problems) error {
	return fail(exitConfig, "%s\n%s in the configuration; nothing was started", problems.String(), count(len(problems), "problem"))
}

func count(n int, what string) string {
	if n == 1 {
		return "1 " + what
	}
	return fmt.Sprintf("%d %ss", n, what)
}

// release is set by whoever builds packages, with -ldflags "-X main.release=…".
var release string

// version is the release, the build's own, or the commit it was built from.
func version() string {
	if release != "" {
		return release
	}
	info, ok := debug.ReadBuildInfo()
	if !ok {
		return "unknown"
	}
	if v := info.Main.Version; v != "" && v != "(devel)" {
		return v
	}
	for _, s := range info.Settings {
		if s.Key == "vcs.revision" {
			return "devel-" + s.Value[:min(12, len(s.Value))]
		}
	}
	return "devel"
}

type versionCommand struct{}

func (versionCommand) Run(std stream) error {
	fmt.Fprintln(std.out, "aliquot", version())
	return nil
}

// indent puts a margin before every line.
func indent(w io.Writer, margin, text string) {
	for _, line := range strings.Split(strings.TrimRight(text, "\n"), "\n") {
		fmt.Fprintln(w, margin+line)
	}
}
