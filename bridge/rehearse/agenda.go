package rehearse

import (
	"container/heap"
	"time"
)

// agenda is what will happen, in the order of time; at one moment in the order in which it was put in.
type agenda struct {
	items []appointment
	count int
}

type appointment struct {
	at    time.Duration
	order int
	do    func()
}

func (a *agenda) Len() int { return len(a.items) }
func (a *agenda) Less(i, j int) bool {
	if a.items[i].at != a.items[j].at {
		return a.items[i].at < a.items[j].at
	}
	return a.items[i].order < a.items[j].order
}
func (a *agenda) Swap(i, j int) { a.items[i], a.items[j] = a.items[j], a.items[i] }
func (a *agenda) Push(x any)    { a.items = append(a.items, x.(appointment)) }
func (a *agenda) Pop() any {
	last := len(a.items) - 1
	x := a.items[last]
	a.items[last] = appointment{}
	a.items = a.items[:last]
	return x
}

func (a *agenda) add(at time.Duration, do func()) {
	a.count++
	heap.Push(a, appointment{at, a.count, do})
}

// next is when the first thing happens; false if nothing will.
func (a *agenda) next() (time.Duration, bool) {
	if len(a.items) == 0 {
		return 0, false
	}
	return a.items[0].at, true
}

func (a *agenda) take() appointment { return heap.Pop(a).(appointment) }
