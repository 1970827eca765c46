package machine

import (
	"time"

	"aliquot/safety"
)

// Effect is something the shell must do, in the order given. Behind an Append that failed it does nothing more
// of the same list but the StopRuns and the ClearRetained in it.
type Effect interface{ effect() }

type (
	// Append writes rows in one synced transaction.
	Append struct{ Rows []Row }

	// SendRun tells a node to run, at QoS 0, not retained, only over an open connection and not after NotAfter
	// (monotonic time). If it is not handed to the client the shell says SendFailed.
	SendRun struct {
		RunReserved
		Expires  time.Time
		NotAfter time.Duration
	}

	// StopRuns tells a node to stop: one run, or everything on the output where Run is "*". Always safe to repeat.
	StopRuns struct {
		Node   string
		Output int
		Run    string
		Serial int64
	}

	// ClearRetained removes a retained message from a command topic of a node.
	ClearRetained struct {
		Node   string
		Output int
		Stop   bool // from the stop topic
	}

	// Answer replies to a request. It is not retained.
	Answer struct{ Answered }

	// Problem says what was wrong with a message that changed nothing.
	Problem struct {
		Topic string
		Code  safety.Code
		Text  string
		Ref   string
	}

	// Happened tells the world that something happened; it is not retained.
	Happened struct {
		Kind string // run_started, run_ended, run_withheld, test, …
		At   time.Time
		Data any // marshals to a JSON object; its fields are documented in bridge/TOPICS.md
	}

	// ShowAlert puts an alert on its retained topic, or removes it.
	ShowAlert struct{ AlertView }

	// TryAlerts sends a test message on every way beside the broker.
	TryAlerts struct{ Text string }

	// WriteOwner puts this process's owner record on its retained topic.
	WriteOwner struct {
		Instance string
		Epoch    int64
		At       time.Time
	}

	// ClearOwner takes this process's owner record away.
	ClearOwner struct{}

	// Announce publishes everything that is retained: the state after a connection opened.
	Announce struct{}

	// Beat is the heartbeat.
	Beat struct{ BeatView }

	// Count adds one to a counter.
	Count struct {
		Metric Metric
		Labels [2]string // their meaning depends on the metric
	}

	// Log is one line for the log.
	Log struct {
		Level LogLevel
		Text  string
		Args  []any // slog key, value pairs
	}
)

func (Append) effect()        {}
func (SendRun) effect()       {}
func (StopRuns) effect()      {}
func (ClearRetained) effect() {}
func (Answer) effect()        {}
func (Problem) effect()       {}
func (Happened) effect()      {}
func (ShowAlert) effect()     {}
func (TryAlerts) effect()     {}
func (WriteOwner) effect()    {}
func (ClearOwner) effect()    {}
func (Announce) effect()      {}
func (Beat) effect()          {}
func (Count) effect()         {}
func (Log) effect()           {}

// LogLevel of a line.
type LogLevel int

// Levels, as slog numbers them.
const (
	Debug LogLevel = -4
	Info  LogLevel = 0
	Warn  LogLevel = 4
	Err   LogLevel = 8
)

// Metric names a counter.
type Metric string

// Counters and their labels.
const (
	MetricRuns     Metric = "runs"     // channel, outcome
	MetricWithheld Metric = "withheld" // channel, code
	MetricRequests Metric = "requests" // verb, code
	MetricProblems Metric = "problems" // code
	MetricReadings Metric = "readings" // probe, "good" or "bad"
	MetricTests    Metric = "tests"    // system, quantity
	MetricReports  Metric = "reports"  // node, state
)
