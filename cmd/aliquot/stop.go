package main

import (
	"errors"
	"fmt"

	"aliquot/bridge/machine"
	"aliquot/bridge/mqtt"
	"aliquot/config"
)

// stopEverything tells every output of a site to stop, over a client of its own.
func stopEverything(l loaded, c *client) (sent int, err error) {
	var errs []error
	for _, ch := range l.Channels {
		if err := stopChannel(l, c, ch); err != nil {
			errs = append(errs, err)
			continue
		}
		sent++
	}
	return sent, errors.Join(errs...)
}

// stopChannel tells a channel's output to stop, without the service.
func stopChannel(l loaded, c *client, ch config.Channel) error {
	for _, codec := range l.codecs {
		if codec.ID() != ch.Node {
			continue
		}
		topic, payload := codec.Stop(machine.StopRuns{Node: ch.Node, Output: ch.Output, Run: "*", Serial: 1})
		if d, err := c.mqtt.Publish(mqtt.Message{Topic: topic, Payload: payload}, connectWait); d == mqtt.NotHanded || err != nil {
			return fail(exitNoReply, "the stop for channel %s may not have left: %w", ch.ID, orUnknown(err))
		}
	}
	return nil
}

func orUnknown(err error) error {
	if err == nil {
		return fmt.Errorf("nobody confirmed it")
	}
	return err
}
