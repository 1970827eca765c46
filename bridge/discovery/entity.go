package discovery

import (
	"encoding/json"

	"aliquot/bridge/machine"
)

// component is the kind of an entity, as the convention calls it.
type component string

const (
	sensor       component = "sensor"
	binarySensor component = "binary_sensor"
	number       component = "number"
	button       component = "button"
	toggle       component = "switch"
	event        component = "event"
)

// entity is one announcement before it is written.
type entity struct {
	component component
	object    string
	config    config
}

// config is the payload of an announcement. Only keys that both ends of the range of releases know are here; what is
// inside device and origin is checked strictly there, and one unknown key loses the entity.
type config struct {
	Name             string         `json:"name"`
	UniqueID         string         `json:"unique_id"`
	StateTopic       string         `json:"state_topic,omitempty"`
	ValueTemplate    string         `json:"value_template,omitempty"`
	AttributesTopic  string         `json:"json_attributes_topic,omitempty"`
	CommandTopic     string         `json:"command_topic,omitempty"`
	CommandTemplate  string         `json:"command_template,omitempty"`
	PayloadPress     string         `json:"payload_press,omitempty"`
	PayloadOn        string         `json:"payload_on,omitempty"`
	PayloadOff       string         `json:"payload_off,omitempty"`
	StateOn          string         `json:"state_on,omitempty"`
	StateOff         string         `json:"state_off,omitempty"`
	DeviceClass      string         `json:"device_class,omitempty"`
	StateClass       string         `json:"state_class,omitempty"`
	Unit             string         `json:"unit_of_measurement,omitempty"`
	Precision        *int           `json:"suggested_display_precision,omitempty"`
	Min              *float64       `json:"min,omitempty"`
	Max              *float64       `json:"max,omitempty"`
	Step             *float64       `json:"step,omitempty"`
	Mode             string         `json:"mode,omitempty"`
	EventTypes       []string       `json:"event_types,omitempty"`
	Category         string         `json:"entity_category,omitempty"`
	Icon             string         `json:"icon,omitempty"`
	QoS              int            `json:"qos,omitempty"`
	Availability     []availability `json:"availability"`
	AvailabilityMode string         `json:"availability_mode"`
	Device           device         `json:"device"`
	Origin           origin         `json:"origin"`
}

// availability is one topic that has to say online.
type availability struct {
	Topic         string `json:"topic"`
	ValueTemplate string `json:"value_template,omitempty"`
}

type device struct {
	Identifiers  []string `json:"identifiers"`
	Name         string   `json:"name"`
	Manufacturer string   `json:"manufacturer"`
	Model        string   `json:"model"`
	Version      string   `json:"sw_version,omitempty"`
	Via          string   `json:"via_device,omitempty"`
}

type origin struct {
	Name    string `json:"name"`
	Version string `json:"sw_version,omitempty"`
}

// builder gathers the entities of a site. Device is the one that the next entities belong to.
type builder struct {
	a      Announcer
	all    []entity
	device device
	scope  string // of object ids on this device: kind and name
}

// on begins a device. Its name begins with that of the site, so that no entity's name can begin with the device's,
// which dashboards warn of.
func (b *builder) on(kind, id string) {
	site := b.a.nodeID()
	d := device{Name: "aliquot " + b.a.Layout.Site, Manufacturer: "aliquot", Model: kind, Version: b.a.Version, Identifiers: []string{site}}
	b.scope = kind
	if id != "" {
		b.scope += "_" + word(id)
		d.Name = b.a.Layout.Site + " " + kind + " " + id
		d.Identifiers = []string{site + "_" + b.scope}
		d.Via = site
	}
	b.device = d
}

// add announces an entity of the present device. What is a fixed word for the same thing for ever: the ids are made of it.
func (b *builder) add(c component, what string, k config) {
	object := b.scope + "_" + what
	k.UniqueID = b.a.nodeID() + "_" + object
	k.Device = b.device
	k.Origin = origin{Name: "aliquot", Version: b.a.Version}
	k.Availability = append([]availability{{Topic: b.a.Layout.Availability()}}, k.Availability...)
	k.AvailabilityMode = "all"
	if k.CommandTopic == "" {
		k.QoS = 1
	}
	b.all = append(b.all, entity{c, object, k})
}

// flag is a template for something that is true or false.
func flag(expression string) string { return "{{ 'ON' if " + expression + " else 'OFF' }}" }

// moment fills in a time that may be null; known is an expression that is not null with it. The release 2024.3 has no way to say that a time is unknown, so that the
// entity is unavailable then; what the template gives meanwhile is never shown.
func moment(k config, topic, known, field string) config {
	k.StateTopic, k.DeviceClass = topic, "timestamp"
	k.ValueTemplate = "{{ " + field + " if " + known + " else '1970-01-01T00:00:00+00:00' }}"
	k.Availability = []availability{{topic, "{{ 'online' if " + known + " else 'offline' }}"}}
	return k
}

// fixed is a request that says the same words each time. The star lets each message be a request of its own.
func fixed(fields map[string]any) string {
	fields["ref"], fields["by"] = "dashboard-"+machine.OpenRef, "dashboard"
	b, err := json.Marshal(fields) // keys come sorted
	if err != nil {
		panic("discovery: " + err.Error())
	}
	return string(b)
}

// holdSwitch is a switch for the hold of one scope. It goes off by itself when the hold ends, after 2 h at most.
func (b *builder) holdSwitch(name string, state string, scope map[string]any) {
	// A switch has one topic for both words, so that it ends a hold as one of no length.
	hold, release := map[string]any{"reason": "dashboard"}, map[string]any{"minutes": 0}
	for _, key := range []string{"all", "system", "channel"} {
		if v, ok := scope[key]; ok {
			hold[key], release[key] = v, v
		}
	}
	b.add(toggle, "hold", config{Name: name, Icon: "mdi:pause-circle-outline", CommandTopic: b.a.Layout.Ask(machine.VerbHold),
		PayloadOn: fixed(hold), PayloadOff: fixed(release), StateTopic: state, ValueTemplate: flag("value_json.hold_until"), StateOn: "ON", StateOff: "OFF"})
}

func (b *builder) press(what, name, icon string, verb machine.Verb, fields map[string]any) {
	b.add(button, what, config{Name: name, Icon: icon, CommandTopic: b.a.Layout.Ask(verb), PayloadPress: fixed(fields)})
}
