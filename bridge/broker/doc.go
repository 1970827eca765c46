// Package broker is a small MQTT broker inside the process, for a first run, a demonstration and tests. It is
// the only importer of mochi-mqtt.
//
// It decides who may connect and what they may read and write, never anything about doses. It keeps nothing
// over a restart: no session, no queue, no retained message.
//
// Without a users file everybody may connect, so only loopback addresses are accepted then. Packets are
// limited to 64 KiB, connections, unacknowledged messages and waiting writes are bounded, and a connection
// that does not introduce itself is closed (H-38). On topics in NeverRetain the retain flag is dropped, so
// that no command can wait there for a node (H-04): the message itself still goes to whoever listens now.
//
// The users file has one line a user, made by UserLine; empty lines and lines that begin with # are skipped:
//
//	name:pbkdf2-sha256:iterations:salt:key
//
// iterations is a decimal number, salt and key are unpadded base64 (RFC 4648 section 5). The key is PBKDF2
// (RFC 8018) with HMAC-SHA-256 over the password, 32 bytes long.
package broker
