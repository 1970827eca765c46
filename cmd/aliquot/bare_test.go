package main

import (
	"bufio"
	"fmt"
	"os"
	"strconv"
	"strings"
	"sync/atomic"

	paho "github.com/eclipse/paho.mqtt.golang"
)

// bareMain is the value of childEnv for a subscriber with nothing behind it: what broker and client library can do here.
const bareMain = "bare"

// bare is a process that subscribes, by the client library and with the options of the service, to the topics in a file. At
// each line on its standard input it says how many messages it has heard; it ends with it.
func bare(broker, file string) error {
	topics, err := os.ReadFile(file)
	if err != nil {
		return err
	}
	var heard atomic.Int64
	client := paho.NewClient(paho.NewClientOptions().AddBroker("tcp://" + broker).SetClientID("bare").SetProtocolVersion(4).SetCleanSession(true).
		SetAutoReconnect(false).SetConnectRetry(false).SetResumeSubs(false).SetOrderMatters(true).
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
	for in := bufio.NewScanner(os.Stdin); in.Scan(); {
		fmt.Printf("heard %d (%s)\n", heard.Load(), in.Text())
	}
	return nil
}

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

// heardSoFar asks a bare subscriber.
func (p *process) heardSoFar() int {
	p.t.Helper()
	question := fmt.Sprintf("question %d", refs.Add(1))
	if _, err := fmt.Fprintln(p.in, question); err != nil {
		p.t.Fatal(err)
	}
	p.await("(" + question + ")\n")
	said, _, _ := strings.Cut(p.out.text(), " ("+question+")\n")
	n, err := strconv.Atoi(said[strings.LastIndex(said, " ")+1:])
	if err != nil {
		p.t.Fatal(err)
	}
	return n
}
