package mqtt

import "github.com/eclipse/paho.mqtt.golang/packets"

// forget is paho's message store that keeps nothing: whatever a connection did not deliver is gone with it
// (H-04). Acknowledgements within one connection do not need it.
type forget struct{}

func (forget) Open()                             {}
func (forget) Put(string, packets.ControlPacket) {}
func (forget) Get(string) packets.ControlPacket  { return nil }
func (forget) All() []string                     { return nil }
func (forget) Del(string)                        {}
func (forget) Close()                            {}
func (forget) Reset()                            {}
