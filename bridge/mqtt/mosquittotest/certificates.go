package mosquittotest

import (
	"crypto/ecdsa"
	"crypto/elliptic"
	"crypto/rand"
	"crypto/x509"
	"crypto/x509/pkix"
	"encoding/pem"
	"math/big"
	"net"
	"testing"
	"time"
)

// Authority is a certificate authority for one test.
type Authority struct {
	t    testing.TB
	cert *x509.Certificate
	key  *ecdsa.PrivateKey
	PEM  []byte // its certificate
}

// NewAuthority makes an authority that is valid for an hour around now.
func NewAuthority(t testing.TB, name string) *Authority {
	t.Helper()
	template := &x509.Certificate{
		SerialNumber:          big.NewInt(1),
		Subject:               pkix.Name{CommonName: name},
		NotBefore:             time.Now().Add(-time.Hour),
		NotAfter:              time.Now().Add(time.Hour),
		IsCA:                  true,
		BasicConstraintsValid: true,
		KeyUsage:              x509.KeyUsageCertSign,
	}
	key := newKey(t)
	der, err := x509.CreateCertificate(rand.Reader, template, template, &key.PublicKey, key)
	if err != nil {
		t.Fatalf("making an authority: %v", err)
	}
	cert, err := x509.ParseCertificate(der)
	if err != nil {
		t.Fatalf("reading an authority: %v", err)
	}
	return &Authority{t: t, cert: cert, key: key, PEM: encodePEM("CERTIFICATE", der)}
}

// Server makes a certificate for 127.0.0.1 and localhost. Both results are PEM.
func (a *Authority) Server() (cert, key []byte) {
	a.t.Helper()
	return a.issue(&x509.Certificate{
		SerialNumber: big.NewInt(2),
		Subject:      pkix.Name{CommonName: "broker"},
		IPAddresses:  []net.IP{net.IPv4(127, 0, 0, 1)},
		DNSNames:     []string{"localhost"},
		ExtKeyUsage:  []x509.ExtKeyUsage{x509.ExtKeyUsageServerAuth},
	})
}

// Client makes a client certificate. Both results are PEM.
func (a *Authority) Client(name string) (cert, key []byte) {
	a.t.Helper()
	return a.issue(&x509.Certificate{
		SerialNumber: big.NewInt(3),
		Subject:      pkix.Name{CommonName: name},
		ExtKeyUsage:  []x509.ExtKeyUsage{x509.ExtKeyUsageClientAuth},
	})
}

func (a *Authority) issue(template *x509.Certificate) (certPEM, keyPEM []byte) {
	a.t.Helper()
	template.NotBefore, template.NotAfter = a.cert.NotBefore, a.cert.NotAfter
	template.KeyUsage = x509.KeyUsageDigitalSignature
	key := newKey(a.t)
	der, err := x509.CreateCertificate(rand.Reader, template, a.cert, &key.PublicKey, a.key)
	if err != nil {
		a.t.Fatalf("issuing a certificate: %v", err)
	}
	keyDER, err := x509.MarshalPKCS8PrivateKey(key)
	if err != nil {
		a.t.Fatalf("encoding a key: %v", err)
	}
	return encodePEM("CERTIFICATE", der), encodePEM("PRIVATE KEY", keyDER)
}

func newKey(t testing.TB) *ecdsa.PrivateKey {
	t.Helper()
	key, err := ecdsa.GenerateKey(elliptic.P256(), rand.Reader)
	if err != nil {
		t.Fatalf("making a key: %v", err)
	}
	return key
}

func encodePEM(kind string, der []byte) []byte {
	return pem.EncodeToMemory(&pem.Block{Type: kind, Bytes: der})
}

// makeCertificates writes the authority, the server's and a client's certificate into the server's directory.
func (s *Server) makeCertificates() {
	s.t.Helper()
	a := NewAuthority(s.t, "test authority")
	cert, key := a.Server()
	s.write("server.pem", string(cert))
	s.write("server.key", string(key))
	cert, key = a.Client("client")
	s.write("client.pem", string(cert))
	s.write("client.key", string(key))
	s.write("ca.pem", string(a.PEM))
	s.CAFile, s.CertFile, s.KeyFile = s.path("ca.pem"), s.path("client.pem"), s.path("client.key")
}
