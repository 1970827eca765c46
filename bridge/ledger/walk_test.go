package ledger

import (
	"database/sql/driver"
	"errors"
	"fmt"
	"strings"
	"testing"

	"aliquot/bridge/machine"
)

// However far ahead rows were read: all before a bad one are handed out, in order, and none behind it.
func TestEachHandsOutAllBeforeABadRow(t *testing.T) {
	for _, bad := range []int64{1, 2, batchRows, batchRows + 1, 3*batchRows - 1, 8 * batchRows} {
		path := filled(t, 9*batchRows)
		foreignDatabase(t, path, "DROP TRIGGER rows_never_change", fmt.Sprintf("UPDATE rows SET body = '{' WHERE seq = %d", bad))
		l, next := mustOpen(t, path), int64(1)
		err := l.Each(1, func(r machine.Row) error {
			if r.Seq != next {
				t.Fatalf("row %d came where row %d was due", r.Seq, next)
			}
			next++
			return nil
		})
		if want := fmt.Sprintf("row %d:", bad); err == nil || !strings.Contains(err.Error(), want) || next != bad {
			t.Errorf("row %d is bad: %d rows came, and %v", bad, next-1, err)
		}
		wantNobodyReading(t, l)
	}
}

// Whoever stops, at whatever row and in whatever way, leaves nobody behind who still reads.
func TestEachLeavesNobodyReading(t *testing.T) {
	l := mustOpen(t, filled(t, 9*batchRows))
	stop := errors.New("enough")
	for _, last := range []int64{1, 2, batchRows, batchRows + 1, 5 * batchRows, 9 * batchRows} {
		for _, panics := range []bool{false, true} {
			seen, err := int64(0), error(nil)
			func() {
				defer func() { _ = recover() }()
				err = l.Each(1, func(machine.Row) error {
					if seen++; seen < last {
						return nil
					}
					if panics {
						panic(stop)
					}
					return stop
				})
			}()
			if seen != last || !panics && !errors.Is(err, stop) {
				t.Errorf("stopped at row %d: saw %d rows, %v", last, seen, err)
			}
			wantNobodyReading(t, l)
		}
	}
}

func wantNobodyReading(t *testing.T, l *Ledger) {
	t.Helper()
	if n := l.read.Stats().InUse; n != 0 {
		t.Errorf("%d connections are still in use", n)
	}
}

func TestColumnsOfAnotherTypeAreDamage(t *testing.T) {
	good := []driver.Value{int64(7), "id", "2027-03-01T00:00:00Z", int64(5), int64(1), "", "primed", `{"channel":"alk"}`, int64(0), int64(0)}
	decode := func(column int, v driver.Value) (machine.Row, error) {
		w := &walk{next: 7}
		copy(w.columns[:], good)
		if column >= 0 {
			w.columns[column] = v
		}
		return w.decode()
	}
	if r, err := decode(-1, nil); err != nil || r.ID != "id" || r.Elapsed != 5 || !r.Trusted {
		t.Fatalf("a good row: %+v, %v", r, err)
	}
	if r, err := decode(1, nil); err != nil || r.ID != "" {
		t.Fatalf("a row without an id: %+v, %v", r, err)
	}
	for i := range good {
		for _, v := range []driver.Value{nil, 1.5, []byte("x"), "x", int64(9)} {
			if fmt.Sprintf("%T", v) == fmt.Sprintf("%T", good[i]) || i == 1 && v == nil {
				continue
			}
			if _, err := decode(i, v); !errors.Is(err, ErrDamaged) || !strings.Contains(err.Error(), "row 7") {
				t.Errorf("column %d is %#v: %v; want ErrDamaged with the row's number", i, v, err)
			}
		}
	}
}
