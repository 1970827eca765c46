package config

import "fmt"

// defaultListen is where the broker inside listens unless the file says otherwise.
const defaultListen = "127.0.0.1:1883"

func readMQTT(v value) (MQTT, bool) {
	q := MQTT{At: v.at, Discovery: Discovery{Prefix: "homeassistant"}}
	m, ok := v.open()
	if !ok {
		return q, false
	}
	take(m, "prefix", &q.Prefix, readName)
	take(m, "username", &q.Username, readLine)
	take(m, "password_file", &q.PasswordFile, readFile)
	if d, ok := m.get("discovery"); ok {
		if d, ok := d.open(); ok {
			take(d, "enabled", &q.Discovery.Enabled, readBool)
			take(d, "prefix", &q.Discovery.Prefix, readTopic)
		}
	}
	readBroker(m, &q)
	if m.has("password_file") && !m.has("username") {
		v.r.at(v.path+".password_file", "a password without a user name", "", "add username, or remove password_file")
	}
	return q, true
}

// readBroker reads the address and the one block that goes with it.
func readBroker(m mapping, q *MQTT) {
	v, ok := m.get("broker")
	if !ok {
		return
	}
	s, ok := readLine(v)
	if !ok {
		return
	}
	if s == "embedded" {
		q.Embedded = &Embedded{Listen: defaultListen}
		if e, ok := m.get("embedded"); ok {
			readEmbedded(e, q.Embedded)
		}
		m.refuse("tls", "broker is embedded", "the broker inside is not reached through TLS")
		return
	}
	host, port, tls, ok := brokerAddress(v, s)
	q.Host, q.Port = host, port
	if !ok {
		return
	}
	m.refuse("embedded", "broker is "+clip(s), "embedded belongs to broker: embedded")
	if !tls {
		m.refuse("tls", "broker is "+clip(s), "tls belongs to mqtts://")
		return
	}
	q.TLS = &TLS{}
	if t, ok := m.get("tls"); ok {
		readTLS(t, q.TLS)
	}
}

// refuse reports a key that has no meaning beside another one, rather than ignore it.
func (m mapping) refuse(key, because, meaning string) {
	if v, ok := m.get(key); ok {
		v.problem(fmt.Sprintf("%s has no meaning here: %s", key, because), meaning, "remove one of them")
	}
}

func readEmbedded(v value, e *Embedded) {
	m, ok := v.open()
	if !ok {
		return
	}
	take(m, "listen", &e.Listen, readListen)
	take(m, "users_file", &e.UsersFile, readFile)
	if !loopbackListen(e.Listen) && !m.has("users_file") {
		v.r.at(v.path+".listen", fmt.Sprintf("%s can be reached from outside and there is no users_file", e.Listen),
			"without users_file only the host itself, such as 127.0.0.1:1883", "anybody there could start pumps: add users_file")
	}
}

func readTLS(v value, t *TLS) {
	m, ok := v.open()
	if !ok {
		return
	}
	take(m, "ca_file", &t.CAFile, readFile)
	take(m, "cert_file", &t.CertFile, readFile)
	take(m, "key_file", &t.KeyFile, readFile)
	take(m, "server_name", &t.ServerName, readLine)
	switch {
	case m.has("cert_file") && !m.has("key_file"):
		v.r.at(v.path+".cert_file", "a certificate without its key", "", "add key_file")
	case m.has("key_file") && !m.has("cert_file"):
		v.r.at(v.path+".key_file", "a key without its certificate", "", "add cert_file")
	}
}
