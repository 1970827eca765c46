package mqtt

import (
	"bytes"
	"errors"
	"io"
	"strings"
	"testing"
	"testing/iotest"

	"github.com/eclipse/paho.mqtt.golang/packets"
	"pgregory.net/rapid"
)

// encode makes the bytes of a packet with paho's own writer.
func encode(t interface{ Fatal(...any) }, p packets.ControlPacket) []byte {
	var b bytes.Buffer
	if err := p.Write(&b); err != nil {
		t.Fatal(err)
	}
	return b.Bytes()
}

func TestGuardPassesWhatBrokersSend(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		var stream []byte
		for range rapid.IntRange(1, 20).Draw(t, "packets") {
			switch rapid.IntRange(0, 3).Draw(t, "kind") {
			case 0:
				p := packets.NewControlPacket(packets.Publish).(*packets.PublishPacket)
				p.TopicName = rapid.StringMatching(`[a-z/]{1,20}`).Draw(t, "topic")
				p.Qos = byte(rapid.IntRange(0, 2).Draw(t, "qos"))
				p.Payload = rapid.SliceOfN(rapid.Byte(), 0, 300).Draw(t, "payload")
				stream = append(stream, encode(t, p)...)
			case 1:
				stream = append(stream, encode(t, packets.NewControlPacket(packets.Pingresp))...)
			case 2:
				stream = append(stream, encode(t, packets.NewControlPacket(packets.Puback))...)
			case 3:
				p := packets.NewControlPacket(packets.Suback).(*packets.SubackPacket)
				p.ReturnCodes = []byte{byte(rapid.IntRange(0, 255).Draw(t, "code"))}
				stream = append(stream, encode(t, p)...)
			}
		}
		var in io.Reader = bytes.NewReader(stream)
		if rapid.Bool().Draw(t, "in single bytes") {
			in = iotest.OneByteReader(in)
		}
		got, err := io.ReadAll(newPacketGuard(in, 1024))
		if err != nil || !bytes.Equal(got, stream) {
			t.Fatalf("read %x, %v; want %x", got, err, stream)
		}
	})
}

// FuzzGuard: whatever passes the guard, paho reads without a panic and without a packet above the limit.
func FuzzGuard(f *testing.F) {
	f.Add([]byte("\x20\x02\x00\x00\x30\x04\x00\x01ax"))
	f.Add([]byte("\x30\xff\xff\xff\x7f"))
	f.Add([]byte("\x90\x03\x00\x01\x80\xd0\x00"))
	f.Add([]byte("\x32\x03\x00\x01a"))
	f.Fuzz(func(t *testing.T, stream []byte) {
		const limit = 512
		g := newPacketGuard(bytes.NewReader(stream), limit)
		for {
			p, err := packets.ReadPacket(g)
			if err != nil {
				break
			}
			if m, ok := p.(*packets.PublishPacket); ok && len(m.TopicName)+len(m.Payload) > limit {
				t.Fatalf("a message of %d bytes passed a limit of %d", len(m.TopicName)+len(m.Payload), limit)
			}
			if s, ok := p.(*packets.SubackPacket); ok && len(s.ReturnCodes) != 1 {
				t.Fatalf("a SUBACK with %d codes passed", len(s.ReturnCodes))
			}
		}
		if g.failed != nil {
			if _, err := g.Read(make([]byte, 1)); !errors.Is(err, g.failed) {
				t.Fatalf("after %v a read gave %v; want the same for ever", g.failed, err)
			}
		}
	})
}

func TestGuardLimits(t *testing.T) {
	tests := []struct {
		name   string
		stream string
		want   error
	}{
		{"at the limit", "\x30\x80\x08", nil},
		{"one above", "\x30\x81\x08", errTooLarge},
		{"the largest that can be said", "\x30\xff\xff\xff\x7f", errTooLarge},
		{"longer than can be said", "\x30\x80\x80\x80\x80", errMalformed},
		{"CONNECT from a broker", "\x10", errMalformed},
		{"SUBSCRIBE from a broker", "\x82", errMalformed},
		{"type 0", "\x00", errMalformed},
		{"type 15", "\xf0", errMalformed},
		{"QoS 3", "\x36", errMalformed},
		{"DISCONNECT", "\xe0", errEnded},
		{"PUBACK with a body of three", "\x40\x03", errMalformed},
		{"PINGRESP with a body", "\xd0\x01", errMalformed},
		{"SUBACK of two", "\x90\x04", errMalformed},
		{"CONNACK code 5", "\x20\x02\x00\x05", nil},
		{"CONNACK code 6", "\x20\x02\x00\x06", errMalformed},
	}
	for _, tt := range tests {
		t.Run(tt.name, func(t *testing.T) {
			_, err := io.ReadAll(newPacketGuard(bytes.NewReader([]byte(tt.stream)), 1024))
			if !errors.Is(err, tt.want) {
				t.Errorf("reading %q = %v; want %v", tt.stream, err, tt.want)
			}
		})
	}
}

// The topic of a message that is too large is told as far as it came with the header, whatever the size of the reads.
func TestGuardNamesTheTopic(t *testing.T) {
	const head = "\x30\x81\x08"
	for _, tt := range []struct{ name, stream, want string }{
		{"whole", head + "\x00\x04reefpayload", `; it is a message on "reef"`},
		{"cut off", head + "\x00\x08reef", `; it is a message on "reef"`},
		{"not text", head + "\x00\x02\xff\n", `; it is a message on "\xff\n"`},
		{"very long", head + "\x0f\xff" + strings.Repeat("x", 1000), `; it is a message on "` + strings.Repeat("x", 200) + `"`},
		{"empty", head + "\x00\x00x", "at most 1024 are read"},
		{"half a length", head + "\x00", "at most 1024 are read"},
		{"nothing", head, "at most 1024 are read"},
	} {
		for size := range 6 {
			g := newPacketGuard(strings.NewReader(tt.stream), 1024)
			var err error
			for err == nil {
				_, err = g.Read(make([]byte, size+1))
			}
			if !errors.Is(err, errTooLarge) || !strings.HasSuffix(err.Error(), tt.want) {
				t.Errorf("%s, in reads of %d bytes: %v; want ... %s", tt.name, size+1, err, tt.want)
			}
		}
	}
}
