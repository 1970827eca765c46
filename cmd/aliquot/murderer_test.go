package main

import (
	"bytes"
	"fmt"
	"os"
	"strings"
	"syscall"
	"time"

	"aliquot/bridge"
	"aliquot/bridge/machine"
)

// murderer stands between the loop of a child and its parts, and kills the process with SIGKILL when the point
// that it waits for is reached. A point is a word and what it is about:
//
//	before run_reserved   in Append, before rows with such a row are stored
//	after run_reserved    in Append, when they are on disk
//	before run            in Publish, before a run command is handed over
//	amid run              in Publish, while it is handed over
//	after run             in Publish, when it is handed over
//	count started         when a node's report has been handled
//
// Words for messages are those of word; "hang after run" and "hang before run" do not kill but stand still, with
// the loop, until the parent kills the process or says "go".
type murderer struct {
	point   string
	proceed <-chan struct{}

	site     bridge.Options
	reserved bool // a run was reserved by this process
}

func (m *murderer) wrap(o bridge.Options) bridge.Options {
	m.site = o
	o.Ledger, o.Link, o.Metrics = murderLedger{o.Ledger, m}, murderLink{o.Link, m}, murderMetrics{o.Metrics, m}
	return o
}

// hanging is what a murderer says when it stands still.
const hanging = "the murderer stands still"

func (m *murderer) at(when, what string) {
	switch m.point {
	case when + " " + what:
		_ = syscall.Kill(os.Getpid(), syscall.SIGKILL)
		select {}
	case "hang " + when + " " + what:
		m.point = "" // once
		fmt.Fprintln(os.Stdout, hanging)
		<-m.proceed
	}
}

type murderLedger struct {
	bridge.Ledger
	m *murderer
}

func (l murderLedger) Append(rows []machine.Row) error {
	for _, r := range rows {
		l.m.reserved = l.m.reserved || r.Body.Kind() == machine.RunReserved{}.Kind()
		l.m.at("before", r.Body.Kind())
	}
	err := l.Ledger.Append(rows)
	for _, r := range rows {
		l.m.at("after", r.Body.Kind())
	}
	return err
}

type murderLink struct {
	bridge.Link
	m *murderer
}

func (l murderLink) Publish(msg bridge.Message, wait time.Duration) (bool, error) {
	what := l.m.word(msg)
	l.m.at("before", what)
	if l.m.point == "amid "+what {
		go func() { _, _ = l.Link.Publish(msg, wait) }()
		_ = syscall.Kill(os.Getpid(), syscall.SIGKILL)
		select {}
	}
	handed, err := l.Link.Publish(msg, wait)
	l.m.at("after", what)
	return handed, err
}

// Post kills before the message leaves, or when the broker has it.
func (l murderLink) Post(msg bridge.Message, wait time.Duration) (<-chan struct{}, error) {
	what := l.m.word(msg)
	l.m.at("before", what)
	settled, err := l.Link.Post(msg, wait)
	if err == nil && l.m.point == "after "+what {
		<-settled
	}
	l.m.at("after", what)
	return settled, err
}

// word says what a message is: run, stop, owner, or, once a run was reserved, answer, event and state.
func (m *murderer) word(msg bridge.Message) string {
	for _, c := range m.site.Nodes {
		for _, t := range c.CommandTopics() {
			switch {
			case t.Topic != msg.Topic || msg.Retained:
			case t.Stop, bytes.Contains(msg.Payload, []byte(`"on":false`)), string(msg.Payload) == "off":
				return "stop"
			default:
				return "run"
			}
		}
	}
	switch rest := strings.TrimPrefix(msg.Topic, m.site.Layout.Root()); {
	case rest == "/owner":
		return "owner"
	case !m.reserved:
		return ""
	case rest == "/answer":
		return "answer"
	case rest == "/event/run_started":
		return "event"
	case strings.HasPrefix(rest, "/state/channel/") && bytes.Contains(msg.Payload, []byte(`"running":true`)):
		return "state"
	}
	return ""
}

type murderMetrics struct {
	bridge.Metrics
	m *murderer
}

func (k murderMetrics) Count(c machine.Count) {
	k.Metrics.Count(c)
	if c.Metric == machine.MetricReports {
		k.m.at("count", c.Labels[1])
	}
}
