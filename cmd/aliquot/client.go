package main

import (
	"context"
	"crypto/rand"
	"encoding/hex"
	"encoding/json"
	"errors"
	"fmt"
	"io"
	"log/slog"
	"os"
	"time"

	"aliquot/bridge/machine"
	"aliquot/bridge/mqtt"
	"aliquot/bridge/screen"
	"aliquot/bridge/topics"
	"aliquot/safety"
)

const (
	connectWait = 10 * time.Second
	answerWait  = 10 * time.Second
)

// client asks the service over the broker, like any other sender of requests.
type client struct {
	layout topics.Layout
	mqtt   *mqtt.Client
	heard  chan mqtt.Message
	gone   chan string // the service, or the broker, went away: which; nil: nobody looks
	lost   string      // what was seen to have gone
	up     chan struct{}
	failed chan error
	stop   func()
}

// reply is what the service answers.
type reply struct {
	Ref    string          `json:"ref"`
	Verb   string          `json:"verb"`
	OK     bool            `json:"ok"`
	Code   string          `json:"code"`
	Text   string          `json:"text"`
	Result json.RawMessage `json:"result"`
}

// reach reads the configuration and connects to its site's broker.
func reach(ctx context.Context, g *Globals) (loaded, *client, error) {
	l, err := load(g.Config)
	if err != nil {
		return l, nil, err
	}
	c, err := dial(ctx, l)
	return l, c, err
}

// dial connects to the site's broker with an identity of its own, and listens for answers and events.
// change may add to what it does with the connection.
func dial(ctx context.Context, l loaded, change ...func(*mqtt.Options)) (*client, error) {
	c := &client{layout: l.layout(), heard: make(chan mqtt.Message, 256), up: make(chan struct{}, 1), failed: make(chan error, 1)}
	o := brokerOptions(l, "aliquot-"+l.Name+"-ask-"+randomName())
	o.Logger = slog.New(slog.DiscardHandler)
	o.Subscriptions = []mqtt.Subscription{{Filter: c.layout.Answer(), QoS: 1}, {Filter: c.layout.Problem(), QoS: 1}, {Filter: c.layout.Root() + "/event/+", QoS: 1}}
	o.OnMessage = func(m mqtt.Message) {
		select {
		case c.heard <- m:
		default: // an answer that nobody waits for any more
		}
	}
	o.OnUp = func() { notify(c.up, struct{}{}) }
	o.OnRefused = func(err error) { notify(c.failed, err) }
	for _, more := range change {
		more(&o)
	}
	var err error
	if c.mqtt, err = mqtt.New(o); err != nil {
		return nil, fail(exitConfig, "%w", err)
	}
	running, cancel := context.WithCancel(ctx)
	ended := make(chan struct{})
	go func() {
		defer close(ended)
		_ = c.mqtt.Run(running)
	}()
	c.stop = func() { cancel(); <-ended }
	select {
	case <-c.up:
		return c, nil
	case err = <-c.failed:
	case <-time.After(connectWait):
		err = fmt.Errorf("it does not answer within %s", connectWait)
	case <-ctx.Done():
		err = ctx.Err()
	}
	c.stop()
	return nil, fail(exitNoReply, "no connection to the broker: %w", err)
}

func notify[T any](c chan T, v T) {
	select {
	case c <- v:
	default:
	}
}

func randomName() string {
	var b [6]byte
	rand.Read(b[:])
	return hex.EncodeToString(b[:])
}

// errNotLeft says that a request went nowhere: nothing came of it.
var errNotLeft = errors.New("the request did not leave")

// ask sends a request and waits for its answer.
func (c *client) ask(ctx context.Context, verb machine.Verb, fields map[string]any) (reply, error) {
	return c.askWithin(ctx, answerWait, verb, fields)
}

func (c *client) askWithin(ctx context.Context, wait time.Duration, verb machine.Verb, fields map[string]any) (reply, error) {
	ref, err := c.send(wait, verb, fields)
	if err != nil {
		return reply{}, err
	}
	late := time.After(wait)
	for {
		select {
		case m := <-c.heard:
			if r, ok := c.answerTo(m, ref); ok {
				return r, nil
			}
		case what := <-c.gone:
			return reply{}, c.wentAway(what)
		case <-late:
			return reply{}, fail(exitNoReply, "no answer from the service within %s; does it run, and may this user write to %s?", wait, c.layout.Ask(verb))
		case <-ctx.Done():
			return reply{}, fail(exitFailed, "interrupted")
		}
	}
}

// send sends a request and gives its reference; the answer is nobody's.
func (c *client) send(wait time.Duration, verb machine.Verb, fields map[string]any) (ref string, err error) {
	ref = "cli-" + randomName()
	if given, ok := fields["ref"].(string); ok {
		ref = given // it stays the same however often it is sent
	}
	body := map[string]any{"ref": ref}
	for k, v := range fields {
		body[k] = v
	}
	payload, err := json.Marshal(body)
	if err != nil {
		return "", fail(exitUsage, "the request cannot be written: %w", err)
	}
	delivery, err := c.mqtt.Publish(mqtt.Message{Topic: c.layout.Ask(verb), Payload: payload, QoS: 1}, wait)
	if err != nil && delivery == mqtt.NotHanded {
		return "", fail(exitNoReply, "%w: %w", errNotLeft, err)
	}
	return ref, nil
}

// Parties that can go away while somebody waits.
const (
	theService = "the service"
	theBroker  = "the broker"
)

func (c *client) wentAway(what string) error {
	c.lost = what
	return fail(exitNoReply, "%s went away", what)
}

// dialWatching is dial, and notices when the service or the broker goes away: whoever has started a pump must not wait for
// an end that nobody will tell.
func dialWatching(ctx context.Context, l loaded) (*client, error) {
	gone, status := make(chan string, 1), l.layout().Availability()
	c, err := dial(ctx, l, func(o *mqtt.Options) {
		o.Subscriptions = append(o.Subscriptions, mqtt.Subscription{Filter: status, QoS: 1})
		others := o.OnMessage
		o.OnMessage = func(m mqtt.Message) {
			switch {
			case m.Topic != status:
				others(m)
			case !m.Retained && string(m.Payload) != topics.Online:
				notify(gone, theService)
			}
		}
		o.OnDown = func(err error) {
			if err != nil {
				notify(gone, theBroker)
			}
		}
	})
	if err == nil {
		c.gone = gone
	}
	return c, err
}

func (c *client) answerTo(m mqtt.Message, ref string) (reply, bool) {
	var r reply
	if m.Topic != c.layout.Answer() && m.Topic != c.layout.Problem() {
		return r, false
	}
	if json.Unmarshal(m.Payload, &r) != nil || r.Ref != ref {
		return r, false
	}
	return r, true
}

// event waits for an event about which wanted says yes.
func (c *client) event(ctx context.Context, wait time.Duration, wanted func(kind string, data json.RawMessage) bool) error {
	late := time.After(wait)
	for {
		select {
		case m := <-c.heard:
			var e struct {
				Kind string          `json:"event_type"`
				Data json.RawMessage `json:"data"`
			}
			if json.Unmarshal(m.Payload, &e) == nil && e.Kind != "" && wanted(e.Kind, e.Data) {
				return nil
			}
		case what := <-c.gone:
			return c.wentAway(what)
		case <-late:
			return fail(exitNoReply, "nothing was heard within %s", wait.Round(time.Second))
		case <-ctx.Done():
			return fail(exitFailed, "interrupted")
		}
	}
}

// tell prints an answer; a refusal becomes the command's failure.
func tell(std stream, format string, r reply) error {
	if format == "json" {
		if err := writeJSON(std.out, r); err != nil {
			return err
		}
		if !r.OK {
			return failure{exitFailed, fmt.Errorf("")}
		}
		return nil
	}
	if !r.OK {
		hint := ""
		if r.Code == string(safety.NeedsConfirm) {
			hint = "; here: --confirm"
		}
		return fail(exitFailed, "%s (%s)%s", r.Text, r.Code, hint)
	}
	fmt.Fprintln(std.out, broken(std.out, r.Text))
	return nil
}

// broken breaks a long answer into lines, on a terminal only.
func broken(w io.Writer, text string) string {
	if f, ok := w.(*os.File); ok && isTerminal(f) {
		columns, _ := terminalSize(f)
		return screen.Wrap(text, columns)
	}
	return text
}

// brokerOptions are the connection that a configuration describes.
func brokerOptions(l loaded, clientID string) mqtt.Options {
	o := mqtt.Options{ClientID: clientID, Username: l.MQTT.Username, PasswordFile: l.MQTT.PasswordFile}
	scheme, host := "mqtt", fmt.Sprintf("%s:%d", bracketed(l.MQTT.Host), l.MQTT.Port)
	if l.MQTT.Embedded != nil {
		host = l.MQTT.Embedded.Listen
	}
	if t := l.MQTT.TLS; t != nil {
		scheme = "mqtts"
		o.TLS = &mqtt.TLS{CAFile: t.CAFile, CertFile: t.CertFile, KeyFile: t.KeyFile, ServerName: t.ServerName}
	}
	o.Broker = scheme + "://" + host
	return o
}
