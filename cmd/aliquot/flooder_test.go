package main

import (
	"bufio"
	"encoding/binary"
	"io"
	"net"
	"testing"
	"time"

	"aliquot/bridge/mqtt/mosquittotest"
)

// flooder is a client that speaks MQTT by hand, so that it can send what no library would, as fast as the socket
// takes it. It reads and forgets.
type flooder struct {
	t    *testing.T
	conn net.Conn
	out  *bufio.Writer
}

// flood connects to the broker without a password.
func flood(t *testing.T, b *mosquittotest.Server, clientID string) *flooder {
	t.Helper()
	conn, err := net.Dial("tcp", b.Addr)
	if err != nil {
		t.Fatal(err)
	}
	t.Cleanup(func() { _ = conn.Close() })
	f := &flooder{t: t, conn: conn, out: bufio.NewWriterSize(conn, 64<<10)}
	// Protocol level 4, clean session, no keep-alive.
	f.packet(0x10, append(field16("MQTT"), 4, 2, 0, 0), field16(clientID))
	f.flush()
	var connack [4]byte
	if _, err := io.ReadFull(conn, connack[:]); err != nil || connack[3] != 0 {
		t.Fatalf("the broker answered %x, %v", connack, err)
	}
	go func() { _, _ = io.Copy(io.Discard, conn) }()
	return f
}

// field16 is a text with its length in front.
func field16(s string) []byte {
	return append(binary.BigEndian.AppendUint16(nil, uint16(len(s))), s...)
}

// packet writes one packet.
func (f *flooder) packet(first byte, parts ...[]byte) {
	f.t.Helper()
	n := 0
	for _, p := range parts {
		n += len(p)
	}
	head := []byte{first}
	for {
		b := byte(n & 0x7f)
		if n >>= 7; n == 0 {
			head = append(head, b)
			break
		}
		head = append(head, b|0x80)
	}
	for _, p := range append([][]byte{head}, parts...) {
		if _, err := f.out.Write(p); err != nil {
			f.t.Fatalf("writing to the broker: %v", err)
		}
	}
}

func (f *flooder) flush() {
	f.t.Helper()
	if err := f.out.Flush(); err != nil {
		f.t.Fatalf("writing to the broker: %v", err)
	}
}

// say publishes at QoS 0.
func (f *flooder) say(topic string, payload []byte) { f.packet(0x30, field16(topic), payload) }

// pour says many messages, so many a second, from another goroutine; the channel is closed at the end.
func (f *flooder) pour(count, perSecond int, message func(i int) (topic string, payload []byte)) <-chan struct{} {
	done := make(chan struct{})
	go func() {
		defer close(done)
		const slices = 100 // of a second
		tick := time.NewTicker(time.Second / slices)
		defer tick.Stop()
		for i := 0; i < count; {
			for end := min(count, i+perSecond/slices); i < end; i++ {
				topic, payload := message(i)
				f.say(topic, payload)
			}
			f.flush()
			<-tick.C
		}
	}()
	return done
}
