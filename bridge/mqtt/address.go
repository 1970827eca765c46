package mqtt

import (
	"errors"
	"fmt"
	"net"
	"net/url"
	"strconv"
	"strings"
	"unicode/utf8"
)

// address is a broker's place. It never holds a secret, so it may be printed.
type address struct {
	host string
	port string
	tls  bool
}

func (a address) String() string {
	if a.tls {
		return "mqtts://" + a.dial()
	}
	return "mqtt://" + a.dial()
}

func (a address) dial() string { return net.JoinHostPort(a.host, a.port) }

// parseAddress reads mqtt://host[:port] or mqtts://host[:port]. An error never repeats the text, because a
// password may be in it.
func parseAddress(text string) (address, error) {
	u, err := url.Parse(text)
	if err != nil || u.Hostname() == "" {
		return address{}, errors.New("broker: not an address like mqtt://host:1883 or mqtts://host:8883")
	}
	if u.User != nil {
		return address{}, errors.New("broker: the address carries a user; put the name into the user name and the password into a file")
	}
	if u.Path != "" && u.Path != "/" || u.RawQuery != "" || u.Fragment != "" {
		return address{}, errors.New("broker: the address goes on after the port; only mqtt://host:port or mqtts://host:port is understood")
	}
	a := address{host: u.Hostname(), port: u.Port()}
	switch u.Scheme {
	case "mqtt":
		a.port = orDefault(a.port, "1883")
	case "mqtts":
		a.tls = true
		a.port = orDefault(a.port, "8883")
	default:
		return address{}, fmt.Errorf("broker: the address begins with %q, must be mqtt:// or mqtts://", u.Scheme+"://")
	}
	if n, err := strconv.Atoi(a.port); err != nil || n < 1 || n > 65535 {
		return address{}, fmt.Errorf("broker: port %s, must be 1 to 65535", a.port)
	}
	return a, nil
}

func orDefault(text, def string) string {
	if text == "" {
		return def
	}
	return text
}

// checkText accepts what MQTT allows as a string of ours: 1 to 65535 bytes of UTF-8 without NUL.
func checkText(what, text string) error {
	switch {
	case text == "":
		return fmt.Errorf("%s is empty", what)
	case len(text) > 65535:
		return fmt.Errorf("%s has %d bytes, at most 65535 are allowed", what, len(text))
	case !utf8.ValidString(text) || strings.ContainsRune(text, 0):
		return fmt.Errorf("%s is not valid text (UTF-8 without NUL)", what)
	}
	return nil
}

// checkTopic accepts a topic that a message may have.
func checkTopic(topic string) error {
	if err := checkText("topic", topic); err != nil {
		return err
	}
	if strings.ContainsAny(topic, "+#") {
		return fmt.Errorf("topic %q holds a wildcard; + and # belong into filters", topic)
	}
	return nil
}

// checkFilter accepts a plain topic filter. Shared subscriptions are refused: they would give some of our
// messages to somebody else.
func checkFilter(filter string) error {
	if err := checkText("filter", filter); err != nil {
		return err
	}
	levels := strings.Split(filter, "/")
	if levels[0] == "$share" || levels[0] == "$queue" {
		return fmt.Errorf("filter %q is a shared subscription; subscribe to the topic itself", filter)
	}
	for i, level := range levels {
		if strings.ContainsAny(level, "+#") && len(level) > 1 {
			return fmt.Errorf("filter %q: a wildcard must stand alone between slashes", filter)
		}
		if level == "#" && i != len(levels)-1 {
			return fmt.Errorf("filter %q: # must come last", filter)
		}
	}
	return nil
}
