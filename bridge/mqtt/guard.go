package mqtt

import (
	"bufio"
	"errors"
	"fmt"
	"io"
	"slices"
)

// Errors of the packet guard. Both end the connection.
var (
	errTooLarge  = errors.New("packet too large")
	errMalformed = errors.New("malformed packet")
	errEnded     = errors.New("the broker ended the connection (stopping, or another client took this client id)")
)

// Packet types that a broker may send (MQTT 3.1.1, table 2.1), and DISCONNECT, which some send all the same.
const (
	typeConnack    = 2
	typePublish    = 3
	typePuback     = 4
	typePubrec     = 5
	typePubrel     = 6
	typePubcomp    = 7
	typeSuback     = 9
	typeUnsuback   = 11
	typePingresp   = 13
	typeDisconnect = 14
)

// packetGuard reads a broker's byte stream and passes a packet header on only after judging it. paho
// allocates the whole declared length at once, and panics on a SUBACK with more codes than filters asked for;
// both are stopped here (H-38).
type packetGuard struct {
	in   *bufio.Reader
	max  int // largest remaining length, bytes
	part headerPart
	// Of the packet that is being read:
	kind   byte
	flags  byte
	length int // remaining length so far
	shift  uint
	left   int // body bytes still to come
	failed error
}

type headerPart int

const (
	wantType headerPart = iota
	wantLength
	wantBody
)

func newPacketGuard(in io.Reader, limit int) *packetGuard {
	return &packetGuard{in: bufio.NewReaderSize(in, 4096), max: limit}
}

// Read fills p with bytes of judged packets. Once it has failed it fails for ever.
func (g *packetGuard) Read(p []byte) (int, error) {
	if g.failed != nil {
		return 0, g.failed
	}
	n, err := g.in.Read(p)
	for i := 0; i < n; {
		if g.part == wantBody && g.left > 1 { // only the last byte of a body is judged
			inside := min(g.left-1, n-i)
			g.left -= inside
			i += inside
			continue
		}
		if bad := g.step(p[i]); bad != nil {
			if errors.Is(bad, errTooLarge) && g.kind == typePublish {
				bad = g.named(bad, p[i+1:n])
			}
			g.failed = bad
			return 0, bad
		}
		i++
	}
	return n, err
}

// named adds the topic to the error about a message that is too large, where it came with the header: whoever has to
// find the sender, or remove a retained message, has nothing else to go by.
func (g *packetGuard) named(bad error, read []byte) error {
	const most = 200 // bytes of a topic that are told
	ahead, _ := g.in.Peek(min(g.in.Buffered(), 2+most))
	start := append(slices.Clone(read), ahead...)
	if len(start) < 2 {
		return bad
	}
	length := int(start[0])<<8 | int(start[1])
	topic := start[2:min(len(start), 2+min(length, most))]
	if len(topic) == 0 {
		return bad
	}
	return fmt.Errorf("%w; it is a message on %q", bad, topic)
}

func (g *packetGuard) step(b byte) error {
	switch g.part {
	case wantType:
		g.kind, g.flags = b>>4, b&0x0f
		g.length, g.shift = 0, 0
		g.part = wantLength
		return g.judgeType()
	case wantLength:
		g.length |= int(b&0x7f) << g.shift
		g.shift += 7
		if b&0x80 != 0 {
			if g.shift >= 28 {
				return fmt.Errorf("%w: a length of more than four bytes", errMalformed)
			}
			return nil
		}
		return g.beginBody()
	default:
		return g.body(b)
	}
}

func (g *packetGuard) judgeType() error {
	switch g.kind {
	case typePublish:
		if g.flags>>1&3 == 3 {
			return fmt.Errorf("%w: a message with QoS 3", errMalformed)
		}
	case typeDisconnect:
		return errEnded
	case typeConnack, typePuback, typePubrec, typePubrel, typePubcomp, typeSuback, typeUnsuback, typePingresp:
	default:
		return fmt.Errorf("%w: type %d, which no broker sends; is this port MQTT without TLS?", errMalformed, g.kind)
	}
	return nil
}

func (g *packetGuard) beginBody() error {
	if g.length > g.max {
		return fmt.Errorf("%w: %d bytes declared, at most %d are read", errTooLarge, g.length, g.max)
	}
	want := -1
	switch g.kind {
	case typeConnack, typePuback, typePubrec, typePubrel, typePubcomp, typeUnsuback:
		want = 2
	case typeSuback:
		want = 3 // one filter is asked for at a time
	case typePingresp:
		want = 0
	}
	if want >= 0 && g.length != want {
		return fmt.Errorf("%w: type %d with %d bytes, must have %d", errMalformed, g.kind, g.length, want)
	}
	g.left = g.length
	g.part = wantBody
	if g.left == 0 {
		g.part = wantType
	}
	return nil
}

// body follows the bytes after the header. paho takes an unknown CONNACK code for success, so that one is
// judged too.
func (g *packetGuard) body(b byte) error {
	g.left--
	if g.left == 0 {
		g.part = wantType
		if g.kind == typeConnack && b > 5 {
			return fmt.Errorf("%w: CONNACK code %d, must be 0 to 5", errMalformed, b)
		}
	}
	return nil
}
