package config

import (
	"fmt"
	"net/url"
	"time"

	"github.com/robfig/cron/v3"
)

// Bounds of the ways on which alerts are told beside the broker. Our own choice.
const (
	minTellWait     = time.Second
	maxWebhookWait  = time.Minute
	maxCommandWait  = 5 * time.Minute
	webhookWait     = 10 * time.Second
	commandWait     = 30 * time.Second
	maxArgument     = 512
	maxArguments    = 32
	defaultPathTest = "0 10 * * MON"
)

// AlertLevel is how much an alert matters.
type AlertLevel string

// Levels of alerts.
const (
	CriticalAlert AlertLevel = "critical"
	WarningAlert  AlertLevel = "warning"
	NoteAlert     AlertLevel = "note"
)

// Alerts says who is told of alerts beside those who listen at the broker.
type Alerts struct {
	Test    Schedule // when a test message goes out
	Webhook *Webhook // nil: none
	Command *Command // nil: none
}

// Webhook is an address to which alerts are posted.
type Webhook struct {
	URL       string
	TokenFile string // empty: no token; never opened here
	CAFile    string // empty: the system's authorities; never opened here
	Timeout   time.Duration
	Level     AlertLevel // the least that is told
	At        Pos
}

// Command is a program that is started for each alert.
type Command struct {
	Argv    []string // the first is an absolute path
	Timeout time.Duration
	Level   AlertLevel // the least that is told
	At      Pos
}

func readAlerts(v value) (*Alerts, bool) {
	a := &Alerts{}
	m, ok := v.open()
	if !ok {
		return nil, false
	}
	if !m.has("test") {
		a.Test = weekly()
	}
	take(m, "test", &a.Test, readSchedule)
	take(m, "webhook", &a.Webhook, readWebhook)
	take(m, "command", &a.Command, readCommand)
	if !m.has("webhook") && !m.has("command") {
		v.problem("neither webhook nor command is there", "must be one of them, or both", "leave alerts out if the broker is enough")
	}
	return a, true
}

// weekly is the schedule of test messages of a file that says nothing of them.
func weekly() Schedule {
	spec, err := cronParser.Parse(defaultPathTest)
	if err != nil {
		panic("config: " + err.Error())
	}
	spec.(*cron.SpecSchedule).Location = time.UTC
	return Schedule{Text: defaultPathTest, Cron: spec}
}

func readWebhook(v value) (*Webhook, bool) {
	w := &Webhook{Timeout: webhookWait, Level: WarningAlert, At: v.at}
	m, ok := v.open()
	if !ok {
		return nil, false
	}
	take(m, "token_file", &w.TokenFile, readFile)
	take(m, "ca_file", &w.CAFile, readFile)
	take(m, "timeout", &w.Timeout, duration(minTellWait, maxWebhookWait))
	take(m, "level", &w.Level, readWord(CriticalAlert, WarningAlert, NoteAlert))
	if !take(m, "url", &w.URL, readWebAddress) {
		return w, false
	}
	u, err := url.Parse(w.URL)
	if err != nil {
		return w, true
	}
	if w.CAFile != "" && u.Scheme == "http" {
		v.r.at(v.path+".ca_file", "it says by whom a certificate is signed, and the address is http://, without one", "an https:// address", "take ca_file out, or use https")
	}
	if w.TokenFile != "" && u.Scheme == "http" && !loopback(u.Hostname()) {
		m.r.warn(m.path+".token_file", "the token goes to "+u.Hostname()+" as plain text", "anybody on the way can read it", "use https")
	}
	return w, true
}

// readWebAddress reads where to post to. Its messages never repeat what may be a password.
func readWebAddress(v value) (string, bool) {
	s, ok := readLine(v)
	if !ok {
		return "", false
	}
	u, err := url.Parse(s)
	switch {
	case err != nil || u.Hostname() == "" || u.Scheme != "http" && u.Scheme != "https" || u.Fragment != "":
		v.problem("the address cannot be used", v.wantedType(), "")
		return "", false
	case u.User != nil:
		v.problem("the address holds a user or password", v.wantedType(), "use token_file")
		return "", false
	}
	return s, true
}

func readCommand(v value) (*Command, bool) {
	c := &Command{Timeout: commandWait, Level: WarningAlert, At: v.at}
	m, ok := v.open()
	if !ok {
		return nil, false
	}
	take(m, "timeout", &c.Timeout, duration(minTellWait, maxCommandWait))
	take(m, "level", &c.Level, readWord(CriticalAlert, WarningAlert, NoteAlert))
	return c, take(m, "argv", &c.Argv, readArguments)
}

// readArguments reads a program with its arguments. No shell stands between: each entry is one argument as it is.
func readArguments(v value) ([]string, bool) {
	items, ok := v.list()
	if !ok {
		return nil, false
	}
	var argv []string
	for i, item := range items {
		s, ok := readLine(item)
		switch {
		case !ok:
			return nil, false
		case len(s) > maxArgument || len(items) > maxArguments:
			item.problem("this is too long", fmt.Sprintf("at most %d arguments of %d bytes are passed on", maxArguments, maxArgument), "put it into a script of your own")
			return nil, false
		case i == 0 && s[0] != '/':
			item.problem(fmt.Sprintf("%q is no absolute path", clip(s)), "the program is given by its whole path, such as /usr/local/bin/tell", "no shell looks for it")
			return nil, false
		}
		argv = append(argv, s)
	}
	if len(argv) == 0 {
		v.problem("the list is empty", v.wantedType(), "")
	}
	return argv, len(argv) > 0
}
