package commission

import (
	"fmt"
	"math"
	"sort"

	"aliquot/bridge/machine"
	"aliquot/planner/metering"
	"aliquot/safety"
)

// trialsLeast is how many trials a full calibration needs (common practice).
const trialsLeast = 3

// cvGood is the repeatability that a good channel has (common practice).
const cvGood = 0.02

// trialSheet is what was measured so far.
type trialSheet struct {
	readings []metering.Reading
	liquid   metering.Liquid
	scale    bool // grams are read, not mL
	seconds  float64
}

// with puts a reading in the place of trial n, or behind the last one where n is 0.
func (t trialSheet) with(r metering.Reading, n int) trialSheet {
	t.readings = append([]metering.Reading(nil), t.readings...)
	if n > 0 && n <= len(t.readings) {
		t.readings[n-1] = r
	} else {
		t.readings = append(t.readings, r)
	}
	return t
}

// weighed says whether any trial was read off a scale.
func (t trialSheet) weighed() bool {
	for _, r := range t.readings {
		if r.MeasuredG != 0 {
			return true
		}
	}
	return false
}

// trials converts what was weighed.
func (t trialSheet) trials() ([]metering.Trial, error) {
	l := t.liquid
	if !t.weighed() {
		l = metering.Liquid{}
	}
	return metering.TrialsOf(t.readings, l)
}

// flags are the trials as the command line takes them.
func (t trialSheet) flags() string {
	text := ""
	for _, r := range t.readings {
		if r.MeasuredG != 0 {
			text += fmt.Sprintf(" --trial %ss=%sg", num(r.Seconds), num(r.MeasuredG))
		} else {
			text += fmt.Sprintf(" --trial %ss=%smL", num(r.Seconds), num(r.MeasuredML))
		}
	}
	switch l := t.liquid; {
	case !t.weighed():
	case l.DensityKgPerL != nil:
		text += fmt.Sprintf(" --density %skg/L", num(*l.DensityKgPerL))
	case l.WaterCelsius != nil:
		text += fmt.Sprintf(" --water %sdegC", num(*l.WaterCelsius))
	}
	return text
}

// statistics is what trials say so far.
type statistics struct {
	rates []float64 // mL/min, in the order of the trials
	mean  float64
	cv    float64 // sample standard deviation over the mean; 0 for one trial
	// systematic is how far the mean lies from the rate that the runs were made with, a share; 0 where there is none.
	systematic float64
	compared   bool
}

func statisticsOf(trials []metering.Trial, usedMLPerMin float64) statistics {
	var s statistics
	for _, t := range trials {
		r := t.MeasuredML / t.Seconds * 60
		s.rates = append(s.rates, r)
		s.mean += r / float64(len(trials))
	}
	if len(s.rates) > 1 {
		squares := 0.0
		for _, r := range s.rates {
			squares += (r - s.mean) * (r - s.mean)
		}
		s.cv = math.Sqrt(squares/float64(len(s.rates)-1)) / s.mean
	}
	if usedMLPerMin > 0 {
		s.systematic, s.compared = s.mean/usedMLPerMin-1, true
	}
	return s
}

// pattern says in words what the order and the scatter of the rates mean, or nothing. The bounds are this program's
// own choice, but for the CV.
func (s statistics) pattern() string {
	n := len(s.rates)
	if n < trialsLeast {
		return ""
	}
	first, last := s.rates[0], s.rates[n-1]
	switch {
	case sort.SliceIsSorted(s.rates, func(i, j int) bool { return s.rates[i] < s.rates[j] }) && last/first-1 > cvGood:
		return "Each run gives more than the one before: the line was not full yet, or the tube warms up. Prime again, then redo the first ones."
	case sort.SliceIsSorted(s.rates, func(i, j int) bool { return s.rates[i] > s.rates[j] }) && 1-last/first > cvGood:
		return "Each run gives less than the one before: it draws air, the line drains between runs, or the end of the line comes out of the liquid. Look, prime, and redo them."
	}
	if !(s.cv > cvGood+1e-9) {
		return ""
	}
	if odd := s.odd(); odd > 0 {
		return fmt.Sprintf("Trial %d does not fit the others: redo it (r %d). A vessel that was not empty, a slip of the pen, or a bubble.", odd, odd)
	}
	return "The runs scatter: air bubbles, a slipping rotor, a tube near its end, or a vessel that is read too coarsely. Longer runs read better."
}

// odd is the trial without which the rest agree well, from 1; 0 where there is none.
func (s statistics) odd() int {
	found := 0
	for i := range s.rates {
		var trials []metering.Trial
		for j, r := range s.rates {
			if j != i {
				trials = append(trials, metering.Trial{Seconds: 60, MeasuredML: r})
			}
		}
		if rest := statisticsOf(trials, 0); rest.cv <= cvGood/2+1e-9 && abs(s.rates[i]/rest.mean-1) > 2*cvGood+1e-9 {
			if found > 0 {
				return 0
			}
			found = i + 1
		}
	}
	return found
}

// used is the rate that runs are timed with, mL/min, and what it is called; 0 where there is none.
func (s Session) used() (mlPerMin float64, name string) {
	if r := s.f.Channel.RateMLPerMin; r != nil {
		return *r, "last time"
	}
	return s.u.NominalMLPerMin, "the nominal rate"
}

// sheet shows the trials so far and what they mean.
func (s Session) sheet() []string {
	trials, err := s.trials.trials()
	if err != nil || len(trials) == 0 {
		return nil
	}
	used, name := s.used()
	k := statisticsOf(trials, used)
	lines := []string{"", "  trial      ran     measured            rate   off the mean"}
	for i, t := range trials {
		lines = append(lines, fmt.Sprintf("  %5d  %5.1f s  %8.2f mL  %7.2f mL/min       %+5.1f %%", i+1, t.Seconds, t.MeasuredML, k.rates[i], 100*(k.rates[i]/k.mean-1)))
	}
	text := fmt.Sprintf("Rate %s mL/min", three(k.mean))
	if len(trials) > 1 {
		text += fmt.Sprintf(", CV %.1f %% (good: 2 %% or less; above 3 %% is refused)", 100*k.cv)
	}
	if k.compared {
		text += fmt.Sprintf(", systematic error %+.1f %% against %s (%s mL/min)", 100*k.systematic, name, three(used))
	}
	lines = append(lines, wrap("  ", text+".")...)
	if words := k.pattern(); words != "" {
		lines = append(lines, wrap("  ", words)...)
	}
	return append(lines, s.findings(trials, used)...)
}

// findings are what the measure of the service will say, told before it is entered.
func (s Session) findings(trials []metering.Trial, used float64) []string {
	if len(trials) < trialsLeast {
		return nil
	}
	rate, err := safety.RateFromMillilitresPerMinute(used)
	if err != nil {
		rate = 0
	}
	_, found, err := metering.Measure(trials, metering.Last{Rate: rate})
	if err != nil {
		return say(sentence(err.Error()))
	}
	var lines []string
	for _, f := range found {
		lines = append(lines, say(sentence(f.Text))...)
	}
	return lines
}

// compared sets what was recorded beside the last time.
func (trialSheet) compared(k machine.CalibrationResult) []string {
	if k.ChangePercent == nil {
		return nil
	}
	switch c := abs(*k.ChangePercent); {
	case c <= 5:
		return say(fmt.Sprintf("%+.1f %% against the rate before: nothing to worry about.", *k.ChangePercent))
	case c <= 15:
		return say(fmt.Sprintf("%+.1f %% against the rate before: look at the tubing; a pump tube wears by use.", *k.ChangePercent))
	}
	return say(fmt.Sprintf("%+.1f %% against the rate before: look for air or a slipped tube before you trust it.", *k.ChangePercent))
}
