package ledger

import (
	"context"
	"database/sql"
	"errors"
	"fmt"
	"slices"
)

// SetRetainedTopics replaces the list of topics on which retained messages of ours may stand at the broker. A
// topic that a later configuration no longer uses is found there and can be emptied. The list is no part of the
// rows: it says what was published, not what happened.
func (l *Ledger) SetRetainedTopics(topics []string) error {
	l.mu.Lock()
	defer l.mu.Unlock()
	if err := l.checkWritable(); err != nil {
		return err
	}
	err := l.prepareDisk()
	if err == nil {
		err = l.storeTopics(topics)
	}
	if err != nil {
		return l.fail(fmt.Errorf("storing the list of retained topics: %w", err))
	}
	return nil
}

// storeTopics writes what is different: the list of a farm is long, and each alert that is new adds to it.
func (l *Ledger) storeTopics(topics []string) error {
	if l.topics == nil {
		stored, err := readTopics(l.read)
		if err != nil {
			return err
		}
		l.topics = setOf(stored)
	}
	wanted := setOf(topics)
	fresh, gone := missingFrom(l.topics, wanted), missingFrom(wanted, l.topics)
	if len(fresh)+len(gone) == 0 {
		return nil
	}
	err := inTransaction(l.write, func(tx *sql.Tx) error {
		return errors.Join(each(tx, "DELETE FROM retained_topics WHERE topic = ?", gone), each(tx, "INSERT INTO retained_topics (topic) VALUES (?)", fresh))
	})
	if err == nil {
		l.topics = wanted
	}
	return err
}

func setOf(list []string) map[string]bool {
	set := make(map[string]bool, len(list))
	for _, t := range list {
		set[t] = true
	}
	return set
}

// missingFrom lists what of a set is not in another one, sorted.
func missingFrom(have, wanted map[string]bool) []string {
	var out []string
	for t := range wanted {
		if !have[t] {
			out = append(out, t)
		}
	}
	slices.Sort(out)
	return out
}

func each(tx *sql.Tx, statement string, topics []string) error {
	for _, t := range topics {
		if _, err := tx.ExecContext(context.Background(), statement, t); err != nil {
			return err
		}
	}
	return nil
}

// RetainedTopics gives the list as last set, sorted.
func (l *Ledger) RetainedTopics() ([]string, error) {
	l.mu.Lock()
	closed := l.closed
	l.mu.Unlock()
	if closed {
		return nil, ErrClosed
	}
	topics, err := readTopics(l.read)
	if err != nil {
		return nil, fmt.Errorf("reading the list of retained topics: %w", err)
	}
	return topics, nil
}

func readTopics(db *sql.DB) (topics []string, err error) {
	list, err := db.QueryContext(context.Background(), "SELECT topic FROM retained_topics ORDER BY topic")
	if err != nil {
		return nil, err
	}
	defer func() { err = errors.Join(err, list.Close()) }()
	for list.Next() {
		var t string
		if err := list.Scan(&t); err != nil {
			return nil, err
		}
		topics = append(topics, t)
	}
	return topics, list.Err()
}
