package main

import (
	"context"
	"encoding/json"
	"fmt"
	"time"

	"aliquot/bridge/metrics"
	alerting "aliquot/bridge/notify" // a function here is called notify
	"aliquot/config"
)

// routes gives the ways on which a site's alerts are told beside the broker, in a fixed order.
func routes(a *config.Alerts) []alerting.Route {
	var out []alerting.Route
	if a == nil {
		return nil
	}
	if w := a.Webhook; w != nil {
		way := alerting.NewWebhook(alerting.WebhookOptions{URL: w.URL, TokenFile: w.TokenFile, CAFile: w.CAFile, Timeout: w.Timeout, Version: version()})
		out = append(out, alerting.Route{Way: way, Level: string(w.Level)})
	}
	if c := a.Command; c != nil {
		way := alerting.NewCommand(alerting.CommandOptions{Argv: c.Argv, Timeout: c.Timeout})
		out = append(out, alerting.Route{Way: way, Level: string(c.Level)})
	}
	return out
}

// startNotifier starts what tells alerts; nil where there is nobody to tell. The ways run on their own: what they have to
// say comes back as an event like any other, once there is a bridge to take it.
func (s *service) startNotifier(o serviceOptions, counters *metrics.Metrics) *alerting.Notifier {
	ways := routes(o.site.Alerts)
	if len(ways) == 0 {
		return nil
	}
	counts := map[alerting.Count]metrics.WayCount{alerting.Attempted: metrics.WayAttempts, alerting.Failed: metrics.WayFailures, alerting.Dropped: metrics.WayDropped}
	return alerting.Start(alerting.Options{Site: o.site.Name, Routes: ways, Logger: o.logger,
		Count:  func(way string, c alerting.Count) { counters.CountWay(way, counts[c]) },
		Closed: func(way, why string) { s.bridge.AlertWay(way, why) }})
}

type notifyCommand struct {
	Test bool `help:"Send the test message. Needed: there is nothing else that this command sends."`
}

// Run sends one test message on every way, from this process: it needs no service and no broker.
func (n notifyCommand) Run(ctx context.Context, std stream, g *Globals) error {
	l, err := load(g.Config)
	if err != nil {
		return err
	}
	ways := routes(l.Alerts)
	switch {
	case len(ways) == 0:
		return fail(exitFailed, "the configuration has no alerts.webhook and no alerts.command: alerts are told at the broker and on the page alone")
	case !n.Test:
		return fail(exitUsage, "nothing was sent: aliquot notify --test sends a test message on %s", count(len(ways), "way"))
	}
	payload, err := json.Marshal(alerting.TestMessage(l.Name, "this is only a test, sent by hand: alerts of "+l.Name+" would come on this way", time.Now()))
	if err != nil {
		return fail(exitFailed, "%w", err)
	}
	failed := 0
	for _, w := range ways {
		if err := w.Deliver(ctx, payload); err != nil {
			failed++
			fmt.Fprintf(std.err, "%s: not told: %s\n", w.Name(), err)
			continue
		}
		fmt.Fprintf(std.out, "%s: told; look whether it has arrived. Alerts from level %s on come here\n", w.Name(), w.Level)
	}
	if failed > 0 {
		return fail(exitFailed, "%d of %s did not work", failed, count(len(ways), "way"))
	}
	return nil
}
