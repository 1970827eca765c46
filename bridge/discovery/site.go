package discovery

import (
	"aliquot/bridge/machine"
	"aliquot/planner/units"
)

// eventTypes are all kinds of machine.Happened: a dashboard warns of any other.
var eventTypes = []string{"run_started", "run_ended", "run_withheld", "lockout", "interlock", "self_stop_proof"}

// site announces what concerns the whole site.
func (b *builder) site(v machine.SiteView) {
	b.on("site", "")
	l := b.a.Layout
	state := l.State("site")
	everything := func(fields map[string]any) map[string]any { fields["all"] = true; return fields }
	b.add(binarySensor, "problem", config{Name: "Problem", DeviceClass: "problem", StateTopic: state, AttributesTopic: state, ValueTemplate: flag("value_json.problem")})
	b.add(binarySensor, "ready", config{Name: "Ready to dose", StateTopic: state, ValueTemplate: flag("value_json.ready"), Category: "diagnostic", Icon: "mdi:check-circle-outline"})
	b.add(sensor, "alerts", config{Name: "Alerts", StateTopic: state, ValueTemplate: "{{ value_json.alerts | count }}", StateClass: "measurement", Icon: "mdi:bell-outline"})
	b.holdSwitch("Hold everything", state, everything(map[string]any{}))
	b.press("hold_1h", "Hold everything for 1 h", "mdi:timer-pause-outline", machine.VerbHold, everything(map[string]any{"minutes": 60, "reason": "dashboard"}))
	b.press("release", "Release everything", "mdi:play-circle-outline", machine.VerbRelease, everything(map[string]any{}))
	b.press("stop", "Stop all pumps now", "mdi:stop-circle-outline", machine.VerbStop, everything(map[string]any{}))
	b.press("acknowledge", "Acknowledge alerts", "mdi:bell-check-outline", machine.VerbAcknowledge, everything(map[string]any{}))
	b.add(sensor, "answer", config{Name: "Last answer", StateTopic: l.Answer(), ValueTemplate: text("value_json.verb ~ ': ' ~ value_json.text"), Category: "diagnostic", Icon: "mdi:message-reply-text-outline"})
	b.add(event, "event", config{Name: "Event", StateTopic: l.Root() + "/event/+", EventTypes: eventTypes, Icon: "mdi:water-pump"})
	for _, k := range v.Interlocks {
		b.add(binarySensor, "interlock_"+word(k.Name), config{Name: "Interlock " + k.Name, DeviceClass: "safety", StateTopic: l.State("interlock", k.Name), ValueTemplate: flag("value_json.active")})
	}
}

// text cuts what an entity may show: a state of more than 255 characters is refused.
func text(expression string) string { return "{{ (" + expression + ")[:250] }}" }

// channel announces one pump output.
func (b *builder) channel(c machine.ChannelView) {
	b.on("channel", c.ID)
	l := b.a.Layout
	state := l.State("channel", c.ID)
	one := 1
	b.add(sensor, "today", config{Name: "Given today", DeviceClass: "volume", Unit: "mL", StateClass: "total_increasing", Precision: &one, StateTopic: state, ValueTemplate: "{{ value_json.today_ml }}"})
	b.add(sensor, "planned", config{Name: "Planned a day", Unit: "mL/d", StateClass: "measurement", Precision: &one, Icon: "mdi:calendar-clock", StateTopic: state, ValueTemplate: "{{ value_json.planned_ml_per_day }}"})
	b.add(sensor, "next_run", moment(config{Name: "Next run"}, state, "value_json.next", "value_json.next.at"))
	b.add(sensor, "last_run", moment(config{Name: "Last run", Category: "diagnostic"}, state, "value_json.last_run", "value_json.last_run"))
	b.add(binarySensor, "running", config{Name: "Running", DeviceClass: "running", StateTopic: state, ValueTemplate: flag("value_json.running")})
	b.add(binarySensor, "locked_out", config{Name: "Locked out", DeviceClass: "problem", StateTopic: state, ValueTemplate: flag("value_json.locked_out")})
	b.add(sensor, "withheld", config{Name: "Waits because", Icon: "mdi:comment-question-outline", StateTopic: state, AttributesTopic: state,
		ValueTemplate: text("value_json.withheld[0].text if value_json.withheld else 'nothing'")})
	if c.Course != nil {
		b.add(sensor, "course", config{Name: "Course", Icon: "mdi:calendar-range", StateTopic: state, ValueTemplate: text("value_json.course.state")})
		b.add(sensor, "course_given", config{Name: "Given in the course", DeviceClass: "volume", Unit: "mL", Precision: &one, StateTopic: state, ValueTemplate: "{{ value_json.course.given_hi_ml }}"})
	}
	b.holdSwitch("Hold", state, map[string]any{"channel": c.ID})
	prime := fixed(map[string]any{"channel": c.ID})
	b.add(button, "prime", config{Name: "Prime", Icon: "mdi:water-sync", CommandTopic: l.Ask(machine.VerbPrime), CommandTemplate: once(prime),
		Availability: []availability{{l.State("node", c.Node), "{{ 'online' if value_json.online else 'offline' }}"}}})
}

// container announces one vessel.
func (b *builder) container(k machine.ContainerView) {
	b.on("container", k.ID)
	state := b.a.Layout.State("container", k.ID)
	none, one := 0, 1
	b.add(sensor, "remaining", config{Name: "Remaining", DeviceClass: "volume_storage", Unit: "mL", StateClass: "measurement", Precision: &none, StateTopic: state, ValueTemplate: "{{ value_json.remaining_min_ml }}"})
	b.add(sensor, "days_left", config{Name: "Days left", DeviceClass: "duration", Unit: "d", StateClass: "measurement", Precision: &one, StateTopic: state, ValueTemplate: "{{ value_json.days_left }}"})
	b.add(binarySensor, "low", config{Name: "Low", DeviceClass: "problem", StateTopic: state, ValueTemplate: flag("value_json.low")})
	b.add(binarySensor, "empty", config{Name: "Empty", DeviceClass: "problem", StateTopic: state, ValueTemplate: flag("value_json.empty")})
}

// node announces one MQTT device with pumps.
func (b *builder) node(n machine.NodeView) {
	b.on("node", n.ID)
	b.add(binarySensor, "online", config{Name: "Online", DeviceClass: "connectivity", Category: "diagnostic", StateTopic: b.a.Layout.State("node", n.ID), ValueTemplate: flag("value_json.online")})
}

// probe announces one measurement that streams in, or a switch.
func (b *builder) probe(p machine.ProbeView) {
	b.on("probe", p.ID)
	state := b.a.Layout.State("probe", p.ID)
	if p.Quantity == string(units.Switch) {
		b.add(binarySensor, "on", config{Name: "On", StateTopic: state, ValueTemplate: "{{ ('ON' if value_json.value == 1 else 'OFF') if value_json.value is not none else 'None' }}"})
	} else {
		b.add(sensor, "reading", reading(p, state))
	}
	b.add(binarySensor, "bad", config{Name: "No good reading", DeviceClass: "problem", Category: "diagnostic", StateTopic: state, AttributesTopic: state, ValueTemplate: flag("not value_json.good")})
}

// reading is in the unit of the state. Two quantities have a class that dashboards know, each with a unit of its own spelling.
func reading(p machine.ProbeView, state string) config {
	two := 2
	k := config{Name: "Reading", Unit: p.Unit, StateClass: "measurement", Precision: &two, StateTopic: state, ValueTemplate: "{{ value_json.value }}"}
	switch units.Quantity(p.Quantity) {
	case units.PH:
		k.DeviceClass, k.Unit = "ph", ""
	case units.Temperature:
		k.DeviceClass, k.Unit = "temperature", "°C"
	default:
		k.Icon = "mdi:gauge"
	}
	return k
}
