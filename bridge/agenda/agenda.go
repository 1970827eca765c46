// Package agenda keeps what will happen in a simulated world, in the order of virtual time. It decides that order and
// nothing else: it reads no clock, and time does not pass in it.
package agenda

import (
	"container/heap"
	"time"
)

// Agenda is what will happen, in the order of time; at one moment in the order in which it was put in. The zero value
// is empty. It belongs to one caller.
type Agenda struct {
	items queue
	count int
}

// Add has something happen at a moment.
func (a *Agenda) Add(at time.Duration, do func()) {
	a.count++
	heap.Push(&a.items, appointment{at, a.count, do})
}

// Next is when the first thing happens; false if nothing will.
func (a *Agenda) Next() (time.Duration, bool) {
	if len(a.items) == 0 {
		return 0, false
	}
	return a.items[0].at, true
}

// Len is how many things will happen.
func (a *Agenda) Len() int { return len(a.items) }

// Take gives what happens first, and removes it. There must be something.
func (a *Agenda) Take() (do func()) { return heap.Pop(&a.items).(appointment).do }

type appointment struct {
	at    time.Duration
	order int
	do    func()
}

type queue []appointment

func (q queue) Len() int { return len(q) }
func (q queue) Less(i, j int) bool {
	if q[i].at != q[j].at {
		return q[i].at < q[j].at
	}
	return q[i].order < q[j].order
}
func (q queue) Swap(i, j int) { q[i], q[j] = q[j], q[i] }
func (q *queue) Push(x any)   { *q = append(*q, x.(appointment)) }
func (q *queue) Pop() any {
	last := len(*q) - 1
	x := (*q)[last]
	(*q)[last] = appointment{}
	*q = (*q)[:last]
	return x
}
