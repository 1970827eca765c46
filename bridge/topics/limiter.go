package topics

import "time"

// Limits on inbound messages (H-38): a topic gets PerSecond on average and Burst at once. What is kept apart always is;
// of other topics so many are followed, and the rest share one allowance.
const (
	PerSecond   = 20
	Burst       = 40
	MostBuckets = 256
)

// Limiter counts messages per topic in token buckets. It reads no clock: time is monotonic and given with each
// question. It belongs to one goroutine. The zero value is ready.
type Limiter struct {
	kept    map[string]*bucket
	buckets map[string]bucket
	others  bucket
	used    bool // others has been touched
}

// Keep gives topics an allowance each, however many there are and whatever comes on others.
func (l *Limiter) Keep(topics ...string) {
	if l.kept == nil {
		l.kept = map[string]*bucket{}
	}
	for _, topic := range topics {
		l.kept[topic] = &bucket{tokens: Burst}
	}
}

// bucket holds what is left of an allowance at a moment.
type bucket struct {
	tokens float64
	at     time.Duration
}

// Allow says whether one more message on a topic may be read at a moment, and takes it from the topic's allowance
// if so. A time before the last one counts as the last one.
func (l *Limiter) Allow(topic string, now time.Duration) bool {
	if b := l.kept[topic]; b != nil {
		return b.take(now)
	}
	if l.buckets == nil {
		l.buckets = map[string]bucket{}
	}
	b, known := l.buckets[topic]
	if !known && len(l.buckets) >= MostBuckets {
		l.forget(now)
	}
	switch {
	case known:
		ok := b.take(now)
		l.buckets[topic] = b
		return ok
	case len(l.buckets) < MostBuckets:
		b = bucket{tokens: Burst - 1, at: now}
		l.buckets[topic] = b
		return true
	}
	if !l.used {
		l.used, l.others = true, bucket{tokens: Burst, at: now}
	}
	return l.others.take(now)
}

// take spends a token if there is one.
func (b *bucket) take(now time.Duration) bool {
	b.fill(now)
	if b.tokens < 1 {
		return false
	}
	b.tokens--
	return true
}

func (b *bucket) fill(now time.Duration) {
	if now > b.at {
		b.tokens = min(Burst, b.tokens+(now-b.at).Seconds()*PerSecond)
		b.at = now
	}
}

// forget drops the buckets that are full again: nothing is lost with them.
func (l *Limiter) forget(now time.Duration) {
	for topic, b := range l.buckets {
		if b.fill(now); b.tokens >= Burst {
			delete(l.buckets, topic)
		}
	}
}
