package main

import (
	"bufio"
	"fmt"
	"net"
	"net/url"
	"os"
	"strings"

	paho "github.com/eclipse/paho.mqtt.golang"
)

// bareMain is the value of childEnv for a subscriber with nothing behind it: what broker and client library can do here.
const bareMain = "bare"

// bare is a process that subscribes, by the client library and with the options of the service, to the topics in a file, and
// says how many messages it has heard. It ends with its standard input.
func bare(broker, file string) error {
	topics, err := os.ReadFile(file)
	if err != nil {
		return err
	}
	var heard headcount
	client := paho.NewClient(paho.NewClientOptions().AddBroker("tcp://" + broker).SetClientID("bare").SetProtocolVersion(4).SetCleanSession(true).
		SetAutoReconnect(false).SetConnectRetry(false).SetResumeSubs(false).SetOrderMatters(true).
		SetCustomOpenConnectionFn(func(*url.URL, paho.ClientOptions) (net.Conn, error) { return buffered(broker) }).
		SetDefaultPublishHandler(func(paho.Client, paho.Message) { heard.Add(1) }))
	if t := client.Connect(); !t.WaitTimeout(patience) || t.Error() != nil {
		return fmt.Errorf("connecting: %w", t.Error())
	}
	for topic := range strings.Lines(string(topics)) {
		if t := client.Subscribe(strings.TrimSpace(topic), 0, nil); !t.WaitTimeout(patience) || t.Error() != nil {
			return fmt.Errorf("subscribing: %w", t.Error())
		}
	}
	fmt.Println("subscribed")
	go heard.speak()
	_, err = os.Stdin.Read(make([]byte, 1)) // until the parent ends
	return err
}

// buffered is a connection that is read as the service reads its own. The library reads byte by byte, each a call into the kernel.
func buffered(broker string) (net.Conn, error) {
	conn, err := net.Dial("tcp", broker)
	if err != nil {
		return nil, err
	}
	return bufferedConn{conn, bufio.NewReaderSize(conn, 4096)}, nil
}

type bufferedConn struct {
	net.Conn
	in *bufio.Reader
}

func (c bufferedConn) Read(p []byte) (int, error) { return c.in.Read(p) }

// startBare starts such a process on so many topics of others.
func (r *rig) startBare(topics int) *process {
	r.t.Helper()
	var list strings.Builder
	for i := range topics {
		fmt.Fprintln(&list, other(i))
	}
	p := launch(r.t, []string{os.Args[0], r.broker.Addr, writeFile(r.t, "topics", list.String())}, "the bare subscriber", childEnv+"="+bareMain)
	p.await("subscribed")
	return p
}
