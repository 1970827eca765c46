package broker

import (
	"log/slog"
	"strings"

	mochi "github.com/mochi-mqtt/server/v2"
	"github.com/mochi-mqtt/server/v2/packets"
)

// rules is what the library asks before it lets somebody in or a message through.
type rules struct {
	mochi.HookBase
	users       *users // nil: everybody
	rules       []Rule
	neverRetain []string
	logger      *slog.Logger
}

func newRules(o Options, logger *slog.Logger) *rules {
	r := &rules{rules: o.Rules, neverRetain: o.NeverRetain, logger: logger}
	if o.UsersFile != "" {
		r.users = newUsers(o.UsersFile)
	}
	return r
}

// ID names the hook for the library.
func (r *rules) ID() string { return "rules" }

// Provides lists the questions that are answered here.
func (r *rules) Provides(b byte) bool {
	switch b {
	case mochi.OnConnectAuthenticate, mochi.OnACLCheck, mochi.OnPublish, mochi.OnWill:
		return true
	}
	return false
}

// OnConnectAuthenticate says whether a client may connect.
func (r *rules) OnConnectAuthenticate(cl *mochi.Client, pk packets.Packet) bool {
	if r.users == nil {
		return true
	}
	ok, err := r.users.check(string(pk.Connect.Username), pk.Connect.Password)
	if err != nil {
		r.logger.Error("nobody is let in", "error", err)
	}
	return ok
}

// OnACLCheck says whether a client may write a topic, subscribe to a filter or be sent a message.
func (r *rules) OnACLCheck(cl *mochi.Client, topic string, write bool) bool {
	return allowed(r.rules, string(cl.Properties.Username), topic, write)
}

// OnPublish drops the retain flag where nothing may be kept.
func (r *rules) OnPublish(_ *mochi.Client, pk packets.Packet) (packets.Packet, error) {
	if pk.FixedHeader.Retain && r.forgets(pk.TopicName) {
		pk.FixedHeader.Retain = false
	}
	return pk, nil
}

// OnWill does the same for what is published in the name of a lost client. The library checks a will less
// than a message: one on a topic that the client may not write goes nowhere.
func (r *rules) OnWill(cl *mochi.Client, will mochi.Will) (mochi.Will, error) {
	if r.forgets(will.TopicName) {
		will.Retain = false
	}
	writable := will.TopicName != "" && will.TopicName[0] != '$' && !strings.ContainsAny(will.TopicName, "+#")
	if !writable || !allowed(r.rules, string(cl.Properties.Username), will.TopicName, true) {
		will.TopicName, will.Payload, will.Retain = "$refused/will", nil, false
	}
	return will, nil
}

func (r *rules) forgets(topic string) bool {
	for _, f := range r.neverRetain {
		if covers(f, topic) {
			return true
		}
	}
	return false
}
