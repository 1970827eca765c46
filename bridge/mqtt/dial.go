package mqtt

import (
	"context"
	"crypto/tls"
	"crypto/x509"
	"errors"
	"fmt"
	"net"
	"os"
	"strings"
)

// dial opens the socket and, for mqtts, completes the TLS handshake. The certificate files are read now.
func dial(ctx context.Context, o *Options, addr address) (*link, error) {
	ctx, cancel := context.WithTimeout(ctx, o.Timing.ConnectTimeout)
	defer cancel()
	var settings *tls.Config
	if addr.tls {
		var err error
		if settings, err = tlsSettings(o.TLS, addr.host); err != nil {
			return nil, err
		}
	}
	d := net.Dialer{Control: socketControl(o.Timing.UserTimeout)}
	conn, err := d.DialContext(ctx, "tcp", addr.dial())
	if err != nil {
		return nil, err
	}
	raw, ok := conn.(*net.TCPConn)
	if !ok {
		_ = conn.Close()
		return nil, fmt.Errorf("the connection to %s is no TCP connection", addr)
	}
	if !addr.tls {
		return newLink(conn, raw, o.MaxPacket, o.Timing.WriteTimeout), nil
	}
	secured := tls.Client(conn, settings)
	if err := secured.HandshakeContext(ctx); err != nil {
		_ = conn.Close()
		return nil, err
	}
	return newLink(secured, raw, o.MaxPacket, o.Timing.WriteTimeout), nil
}

func tlsSettings(t *TLS, host string) (*tls.Config, error) {
	settings := &tls.Config{MinVersion: tls.VersionTLS12, ServerName: host}
	if t == nil {
		return settings, nil
	}
	if t.ServerName != "" {
		settings.ServerName = t.ServerName
	}
	if t.CAFile != "" {
		pem, err := os.ReadFile(t.CAFile)
		if err != nil {
			return nil, fmt.Errorf("reading the certificate authority: %w", err)
		}
		settings.RootCAs = x509.NewCertPool()
		if !settings.RootCAs.AppendCertsFromPEM(pem) {
			return nil, fmt.Errorf("the certificate authority %s holds no certificate in PEM form", t.CAFile)
		}
	}
	if t.CertFile != "" {
		cert, err := tls.LoadX509KeyPair(t.CertFile, t.KeyFile)
		if err != nil {
			return nil, fmt.Errorf("reading the client certificate %s with key %s: %w", t.CertFile, t.KeyFile, err)
		}
		settings.Certificates = []tls.Certificate{cert}
	}
	return settings, nil
}

// maxPassword bounds a password file, bytes.
const maxPassword = 4096

// readPassword gives the one line of the file. Its content is in no error.
func readPassword(file string) (string, error) {
	if file == "" {
		return "", nil
	}
	info, err := os.Stat(file)
	if err != nil {
		return "", fmt.Errorf("reading the password file: %w", err)
	}
	if !info.Mode().IsRegular() || info.Size() > maxPassword {
		return "", fmt.Errorf("the password file %s is no ordinary file of at most %d bytes", file, maxPassword)
	}
	content, err := os.ReadFile(file)
	if err != nil {
		return "", fmt.Errorf("reading the password file: %w", err)
	}
	password := strings.TrimRight(string(content), "\r\n")
	if password == "" {
		return "", errors.New("the password file " + file + " is empty")
	}
	if strings.ContainsAny(password, "\r\n") {
		return "", errors.New("the password file " + file + " has more than one line")
	}
	return password, nil
}
