package trial

import (
	"math"
	"strings"
	"testing"
	"time"
)

func TestFigures(t *testing.T) {
	levels := make([]float64, 101)
	for i := range levels {
		levels[i] = target
	}
	levels[50], levels[60] = target+2, target-1
	got := figures(levels, target)
	want := Figures{RMS: math.Sqrt(5.0 / 101), Q95: 0, Worst: 2, Swing: 3}
	if math.Abs(got.RMS-want.RMS) > 1e-12 || got.Q95 > 1e-9 || math.Abs(got.Worst-2) > 1e-9 || math.Abs(got.Swing-3) > 1e-9 {
		t.Errorf("figures %+v, want %+v", got, want)
	}
	levels[60] = target
	levels[75] = target - 1 // 25 h after the peak: no swing within a day
	if got := figures(levels, target); math.Abs(got.Swing-2) > 1e-9 {
		t.Errorf("swing %v, want 2", got.Swing)
	}
	if !math.IsNaN(figures(nil, target).RMS) {
		t.Error("figures of no hours are numbers")
	}
}

func TestQuantile(t *testing.T) {
	for _, c := range []struct {
		v    []float64
		q    float64
		want float64
	}{{[]float64{3}, 0.95, 3}, {[]float64{1, 2}, 0.5, 1.5}, {[]float64{1, 2, 3}, 0.5, 2}, {[]float64{1, 2, 3}, 1, 3}, {[]float64{0, 10, 20}, 0.95, 19}} {
		if got := quantile(c.v, c.q); math.Abs(got-c.want) > 1e-12 {
			t.Errorf("quantile %v of %v = %v, want %v", c.q, c.v, got, c.want)
		}
	}
}

// sure believes always the same.
type sure struct {
	scripted
	belief Belief
}

func (k *sure) Belief(time.Time) (Belief, bool) { return k.belief, true }

func TestCoverage(t *testing.T) {
	w := still(2)
	w.gain = 1.25 // need as told: 1.6 a day
	for _, c := range []struct {
		name             string
		belief           Belief
		level, use, need float64
	}{
		{"true", Belief{Level: target, LevelSD: 0.1, Use: 2, UseSD: 0.1}, 1, 1, 0},
		{"the need", Belief{Level: target + 0.16, LevelSD: 0.1, Use: 1.6, UseSD: 0.1}, 1, 0, 1},
		{"just too sure", Belief{Level: target + 0.17, LevelSD: 0.1, Use: 1.8, UseSD: 0.12}, 0, 0, 0},
	} {
		m := newMeter(target)
		for h := range 3 {
			m.hour(h, &w, &sure{belief: c.belief}, Start)
		}
		if got := m.score().Coverage; got.Level != c.level || got.Use != c.use || got.Need != c.need {
			t.Errorf("%s: %+v, want %v, %v, %v", c.name, got, c.level, c.use, c.need)
		}
	}
}

func TestLateBeginsOnItsDay(t *testing.T) {
	m, w := newMeter(target), still(1)
	for h := 10; h < 20*24; h++ {
		w.level = target + 3
		if h >= LateFrom*24 {
			w.level = target + 1
		}
		m.hour(h, &w, &scripted{}, Start)
	}
	s := m.score()
	if math.Abs(s.Late.RMS-1) > 1e-9 || math.Abs(s.All.Worst-3) > 1e-9 || math.Abs(s.Late.Worst-1) > 1e-9 {
		t.Errorf("score %+v, want 1 from day %d on, 3 before", s, LateFrom)
	}
}

func TestMostADayIsOfAnyDay(t *testing.T) {
	m := newMeter(target)
	for h := range 72 {
		rise := 0.0
		if h >= 12 && h < 36 {
			rise = 0.1
		}
		m.dosed(rise)
	}
	if s := m.score(); math.Abs(s.MostADay-2.4) > 1e-9 {
		t.Errorf("most in 24 h %v, want 2.4", s.MostADay)
	}
}

func TestTable(t *testing.T) {
	row := func(f Family, policy string, rms ...float64) Row {
		r := Row{Family: f, Policy: policy}
		for _, v := range rms {
			r.Scores = append(r.Scores, Score{All: Figures{RMS: v}, Coverage: Coverage{Level: math.NaN(), Use: math.NaN(), Need: math.NaN()}})
		}
		return r
	}
	rows := []Row{row(Steady, "hand3", 1, 2, 6), row(Steady, "ours", 1), row(Moody, "hand3", 4), {Family: Moody, Policy: "ours"}}
	rows = append(rows, Overall(rows)...)
	var b strings.Builder
	if err := Write(&b, rows); err != nil {
		t.Fatal(err)
	}
	lines := strings.Split(strings.TrimSpace(b.String()), "\n")
	if len(lines) != 7 {
		t.Fatalf("%d lines, want a head of 2 and 5 rows:\n%s", len(lines), b.String())
	}
	for i, want := range []string{
		"| steady | hand3 | 3 | 2.000 | 3.000 | 0.000 | 0.000 | 0.000 | 0.000 | 0.000 | 0.000 | 0.0 | – | – | – | 1.00 | – |",
		"| steady | ours | 1 | 1.000 | 1.000 | 0.000 | 0.000 | 0.000 | 0.000 | 0.000 | 0.000 | 0.0 | – | – | – | 0.50 | – |",
		"| moody | hand3 | 1 | 4.000 | 4.000 | 0.000 | 0.000 | 0.000 | 0.000 | 0.000 | 0.000 | 0.0 | – | – | – | 1.00 | – |",
		"| all | hand3 | 4 | 3.000 | 3.250 | 0.000 | 0.000 | 0.000 | 0.000 | 0.000 | 0.000 | 0.0 | – | – | – | 1.00 | – |",
	} {
		if lines[i+2] != want {
			t.Errorf("line %d: %s\nwant    %s", i+2, lines[i+2], want)
		}
	}
}

func TestUnknownNames(t *testing.T) {
	if _, err := NewPolicy("luck"); err == nil || !strings.Contains(err.Error(), "hand3") {
		t.Errorf("NewPolicy(luck): %v, want an error that names the policies", err)
	}
	if _, err := ParseFamily("nano"); err == nil || !strings.Contains(err.Error(), "moody") {
		t.Errorf("ParseFamily(nano): %v, want an error that names the families", err)
	}
	if _, err := Play(Plan{Families: Families(), Policies: []string{"luck"}, Seeds: 1}); err == nil {
		t.Error("Play with an unknown policy gives no error")
	}
	for _, name := range Policies() {
		if _, err := NewPolicy(name); err != nil {
			t.Error(err)
		}
	}
}
