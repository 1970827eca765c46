package mqtt

import (
	"context"
	"crypto/tls"
	"crypto/x509"
	"errors"
	"fmt"
	"io"
	"net"
	"os"
	"syscall"

	"github.com/eclipse/paho.mqtt.golang/packets"
)

// explain says in an operator's words why a connection could not be made or broke. The cause stays wrapped.
// No password is in it: none is ever put into an error.
func explain(o *Options, addr address, err error) error {
	if err == nil {
		return nil
	}
	hint := hintTLS(o, addr, err)
	if hint == "" {
		hint = hintMQTT(o, err)
	}
	if hint == "" {
		hint = hintNetwork(o, addr, err)
	}
	if hint == "" {
		return fmt.Errorf("broker %s: %w", addr, err)
	}
	return fmt.Errorf("broker %s: %s: %w", addr, hint, err)
}

func hintTLS(o *Options, addr address, err error) string {
	var unknown x509.UnknownAuthorityError
	var host x509.HostnameError
	var invalid x509.CertificateInvalidError
	var record tls.RecordHeaderError
	var alert tls.AlertError
	var remote *net.OpError
	switch {
	case errors.As(err, &unknown):
		if o.TLS != nil && o.TLS.CAFile != "" {
			return "its certificate is not signed by the authority in " + o.TLS.CAFile
		}
		return "its certificate is signed by no authority that this system knows; name the authority's file (ca)"
	case errors.As(err, &host):
		return "its certificate is for another name; check the address or set the server name"
	case errors.As(err, &invalid) && invalid.Reason == x509.Expired:
		return "its certificate is expired or not valid yet, or this machine's clock is wrong"
	case errors.As(err, &record):
		return "it does not speak TLS on this port; use mqtt:// or the TLS port"
	case errors.As(err, &alert), errors.As(err, &remote) && remote.Op == "remote error":
		return "it ended the TLS handshake; it may want a client certificate (cert, key) signed by its authority"
	}
	return ""
}

func hintMQTT(o *Options, err error) string {
	switch {
	case errors.Is(err, packets.ErrorRefusedNotAuthorised), errors.Is(err, packets.ErrorRefusedBadUsernameOrPassword):
		if o.Username == "" {
			return "it refuses clients without a user name and password"
		}
		return fmt.Sprintf("it refuses the user %q: wrong user name or password, or not allowed", o.Username)
	case errors.Is(err, errTooLarge):
		return "it passes on a message that is larger than any this service reads, and the connection was closed; if that message is retained it comes " +
			"at each new connection: find its sender, and remove it by publishing an empty retained message on its topic"
	case errors.Is(err, packets.ErrorRefusedIDRejected):
		return fmt.Sprintf("it refuses the client id %q", o.ClientID)
	case errors.Is(err, packets.ErrorRefusedServerUnavailable):
		return "it is busy or starting"
	case errors.Is(err, packets.ErrorRefusedBadProtocolVersion):
		return "it does not accept MQTT 3.1.1"
	}
	return ""
}

func hintNetwork(o *Options, addr address, err error) string {
	var dns *net.DNSError
	switch {
	case errors.Is(err, syscall.ECONNREFUSED):
		return "nothing listens there"
	case errors.As(err, &dns):
		return fmt.Sprintf("the name %q was not found", addr.host)
	case errors.Is(err, context.DeadlineExceeded), errors.Is(err, os.ErrDeadlineExceeded):
		return fmt.Sprintf("no answer in %v", o.Timing.ConnectTimeout)
	case errors.Is(err, io.EOF), errors.Is(err, io.ErrUnexpectedEOF), errors.Is(err, syscall.ECONNRESET):
		return hintClosed(o, addr)
	}
	return ""
}

// hintClosed covers brokers that end a connection without a word.
func hintClosed(o *Options, addr address) string {
	switch {
	case !addr.tls:
		return "it closed the connection; if this is a TLS port, use mqtts://"
	case o.TLS == nil || o.TLS.CertFile == "":
		return "it closed the connection; it may want a client certificate (cert, key) signed by its authority"
	default:
		return "it closed the connection"
	}
}
