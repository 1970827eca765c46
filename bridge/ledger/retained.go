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
		err = inTransaction(l.write, func(tx *sql.Tx) error { return replaceTopics(tx, topics) })
	}
	if err != nil {
		return l.fail(fmt.Errorf("storing the list of retained topics: %w", err))
	}
	return nil
}

func replaceTopics(tx *sql.Tx, topics []string) error {
	ctx := context.Background()
	if _, err := tx.ExecContext(ctx, "DELETE FROM retained_topics"); err != nil {
		return err
	}
	sorted := slices.Clone(topics)
	slices.Sort(sorted)
	for _, t := range slices.Compact(sorted) {
		if _, err := tx.ExecContext(ctx, "INSERT INTO retained_topics (topic) VALUES (?)", t); err != nil {
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
