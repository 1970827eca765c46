package config

import (
	"fmt"
	"regexp"
	"strconv"
	"strings"
)

// role is what a topic of others is used for.
type role string

const (
	commands role = "commands"
	reports  role = "reports"
	states   role = "states"
	alive    role = "online values"
	readings role = "readings"
)

// use is one topic in use: by whom, for what, and where it is declared.
type use struct {
	topic, json string
	role        role
	owner       string
	path        string
}

var plainOutput = regexp.MustCompile(`\{\{-?\s*\.Output\s*-?\}\}`)

// uses lists every topic of nodes, probes and levels, with the outputs that channels use filled in.
func (p *plant) uses() []use {
	var list []use
	for _, n := range p.site.Nodes {
		list = append(list, p.usesOfNode(n)...)
	}
	for _, b := range p.site.Probes {
		list = append(list, use{b.Topic, b.Path, readings, "the probe " + b.ID, "probes." + b.ID + ".topic"})
	}
	for _, c := range p.site.Containers {
		if c.Level != nil {
			list = append(list, use{c.Level.Topic, c.Level.Path, readings, "the level of " + c.ID, "containers." + c.ID + ".level.topic"})
		}
	}
	return list
}

func (p *plant) usesOfNode(n Node) []use {
	var list []use
	owner, path := "the node "+n.ID, "nodes."+n.ID
	add := func(topic, json string, r role, key, output string) {
		if topic == "" {
			return
		}
		topic, json = plainOutput.ReplaceAllString(topic, output), plainOutput.ReplaceAllString(json, output)
		u := use{topic, json, r, owner, path + "." + key}
		for _, old := range list {
			if old == u {
				return
			}
		}
		list = append(list, u)
	}
	for _, output := range p.outputsOf(n.ID) {
		add(n.Run, "", commands, "run", output)
		add(n.Stop, "", commands, "stop", output)
		add(n.Command, "", commands, "command", output)
		add(n.Report, "", reports, "report", output)
		add(n.State.Topic, n.State.Path, states, "state.topic", output)
	}
	add(n.Online.Topic, "", alive, "online.topic", "")
	return list
}

// outputsOf lists the outputs of a node that channels use; one that none uses still has topics.
func (p *plant) outputsOf(node string) []string {
	var list []string
	for _, c := range p.pumps {
		if c.Node == node && c.Output >= 0 {
			list = append(list, strconv.Itoa(c.Output))
		}
	}
	if len(list) == 0 {
		return []string{"{{.Output}}"}
	}
	return list
}

// checkTopics refuses topics inside our own tree and topics used for two things that would be taken for each
// other.
func (p *plant) checkTopics() {
	own := p.site.MQTT.Prefix + "/" + p.site.Name
	first := map[string][]use{}
	for _, u := range p.uses() {
		if u.topic == "" {
			continue
		}
		if own != "/" && (u.topic == own || strings.HasPrefix(u.topic, own+"/")) {
			p.at(u.path, fmt.Sprintf("the topic %s lies in our own tree %s/…", clip(u.topic), own), "must lie outside it", "")
			continue
		}
		for _, old := range first[u.topic] {
			if why := collide(old, u); why != "" {
				p.at(u.path, fmt.Sprintf("the topic %s serves %s of %s and %s of %s", clip(u.topic), old.role, old.owner, u.role, u.owner), why, "")
				break
			}
		}
		if len(first[u.topic]) < 8 { // enough to find a collision; keeps hostile files cheap
			first[u.topic] = append(first[u.topic], u)
		}
	}
}

// collide says why two uses of one topic cannot be told apart, and "" if they can.
func collide(a, b use) string {
	switch {
	case a.role == commands || b.role == commands:
		return "a command's topic must serve nothing else"
	case a.role == reports || b.role == reports:
		return "a report's topic must serve nothing else"
	case a.role == alive && b.role == alive:
		return "" // one device that drives two nodes
	case a.json == b.json:
		return "one topic and path must serve one thing"
	}
	return ""
}

// checkPorts refuses two listeners at one port and says who can reach what.
func (p *plant) checkPorts() {
	s := p.site
	if s.HTTP.Listen != "" && !loopbackListen(s.HTTP.Listen) {
		if s.HTTP.TokenFile == "" {
			p.warn("http.listen", s.HTTP.Listen+" can be reached from outside", "", "everybody there can read the page: add token_file")
		} else {
			p.warn("http.token_file", "the token goes over the network as plain text", "anybody on the way can read it", "put a web server with https in front, and listen at 127.0.0.1")
		}
	}
	if e := s.MQTT.Embedded; e != nil {
		_, a, aok := splitListen(e.Listen)
		_, b, bok := splitListen(s.HTTP.Listen)
		if aok && bok && a == b && a != "0" {
			p.at("http.listen", fmt.Sprintf("http listens at %s, the broker inside at %s", s.HTTP.Listen, e.Listen), "two ports must differ", "")
		}
		if e.UsersFile == "" && loopbackListen(e.Listen) {
			p.warn("mqtt.embedded.users_file", "not declared", "every program on this host may start pumps", "")
		}
		return
	}
	if s.MQTT.Host == "" {
		return
	}
	if s.MQTT.TLS == nil && !loopback(s.MQTT.Host) {
		p.warn("mqtt.broker", s.MQTT.Host+" is reached without TLS", "passwords and commands can be read and forged on the way", "use mqtts://")
	}
	if s.MQTT.Username == "" && (s.MQTT.TLS == nil || s.MQTT.TLS.CertFile == "") {
		p.warn("mqtt.username", "not declared", "the broker must let everybody in, and everybody may start pumps", "")
	} else if s.MQTT.Username != "" && s.MQTT.PasswordFile == "" {
		p.warn("mqtt.password_file", "not declared", "whoever knows the user name is let in", "")
	}
}
