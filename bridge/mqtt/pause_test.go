package mqtt

import (
	"testing"
	"time"

	"pgregory.net/rapid"
)

func TestPausesGrowAndEnd(t *testing.T) {
	p := pauses{least: time.Second, most: 30 * time.Second, window: time.Minute}
	now := time.Date(2027, 3, 1, 7, 0, 0, 0, time.UTC)
	for i, want := range []time.Duration{1, 2, 4, 8, 16, 30, 30, 30} {
		if got := p.next(now, false, 0); got != want*time.Second {
			t.Errorf("pause after failure %d = %v; want %v", i+1, got, want*time.Second)
		}
	}
	if got := p.next(now, true, 0); got != time.Second {
		t.Errorf("pause after a connection that was up = %v; want 1s", got)
	}
	if got := p.next(now, false, 0); got != time.Second {
		t.Errorf("pause after the next failure = %v; want 1s", got)
	}
}

func TestThreeLossesInAMinute(t *testing.T) {
	start := time.Date(2027, 3, 1, 7, 0, 0, 0, time.UTC)
	tests := []struct {
		name string
		at   []time.Duration // of losses; the last one is judged
		want time.Duration
	}{
		{"two", []time.Duration{0, time.Second}, time.Second},
		{"three at once", []time.Duration{0, 0, 0}, 30 * time.Second},
		{"three just inside", []time.Duration{0, 30 * time.Second, time.Minute - 1}, 30 * time.Second},
		{"three just outside", []time.Duration{0, 30 * time.Second, time.Minute}, time.Second},
		{"four, the first forgotten", []time.Duration{0, 59 * time.Second, 60 * time.Second, 61 * time.Second}, 30 * time.Second},
	}
	for _, tt := range tests {
		t.Run(tt.name, func(t *testing.T) {
			p := pauses{least: time.Second, most: 30 * time.Second, window: time.Minute}
			var got time.Duration
			for _, at := range tt.at {
				got = p.next(start.Add(at), true, 0)
			}
			if got != tt.want {
				t.Errorf("pause = %v; want %v", got, tt.want)
			}
		})
	}
}

func TestPausesStayInTheirBounds(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		p := pauses{least: time.Second, most: 30 * time.Second, window: time.Minute}
		now := time.Date(2027, 3, 1, 7, 0, 0, 0, time.UTC)
		var losses []time.Time
		for range rapid.IntRange(1, 30).Draw(t, "attempts") {
			now = now.Add(time.Duration(rapid.Int64Range(0, int64(40*time.Second)).Draw(t, "later")))
			up := rapid.Bool().Draw(t, "up")
			if up {
				losses = append(losses, now)
			}
			recent := 0
			for _, at := range losses {
				if now.Sub(at) < time.Minute {
					recent++
				}
			}
			got := p.next(now, up, rapid.Float64Range(0, 0.999).Draw(t, "jitter"))
			if got < time.Second || got > 36*time.Second {
				t.Fatalf("pause = %v; want 1s to 36s", got)
			}
			if recent >= 3 && got < 30*time.Second {
				t.Fatalf("pause = %v after %d losses in a minute; want 30s at least", got, recent)
			}
			if recent < 3 && got > 30*time.Second {
				t.Fatalf("pause = %v after %d losses in a minute; want 30s at most", got, recent)
			}
		}
	})
}
