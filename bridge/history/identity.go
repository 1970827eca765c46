package history

import (
	"crypto/sha256"
	"encoding/hex"
	"fmt"
	"strconv"
	"strings"

	"aliquot/bridge/machine"
)

// derivedBytes of the SHA-256 of a line's content make the id of a line that gives none: enough for no two of a
// billion lines to meet.
const derivedBytes = 12

const derivedPrefix = "h-"

// idKey stands for an id: a derived one is its digest and its number among equal lines, counted from 1; any other
// one is a digest of the text itself, with the number 0. It holds no pointer, which keeps long histories cheap.
type idKey struct {
	digest [derivedBytes]byte
	number int32
}

// seen is what is remembered of an id.
type seen struct {
	content [derivedBytes]byte
	line    int32
	plain   int32 // how many lines that gave no id had this content and therefore this id
}

// derivedID is the id of the number-th line with a content.
func derivedID(k idKey) string {
	var text [len(derivedPrefix) + 2*derivedBytes]byte
	copy(text[:], derivedPrefix)
	hex.Encode(text[len(derivedPrefix):], k.digest[:])
	if k.number == 1 {
		return string(text[:])
	}
	return string(text[:]) + "-" + strconv.Itoa(int(k.number))
}

// keyOf gives an id's key. It inverts derivedID, so that an exported line meets the plain one that it came from.
func keyOf(id string) idKey {
	var k idKey
	if rest, ok := strings.CutPrefix(id, derivedPrefix); ok {
		digits, number, counted := strings.Cut(rest, "-")
		n, err := int64(1), error(nil)
		if counted {
			n, err = strconv.ParseInt(number, 10, 32)
		}
		if d, hexErr := hex.DecodeString(digits); err == nil && hexErr == nil && len(d) == derivedBytes && n > 0 {
			k = idKey{[derivedBytes]byte(d), int32(n)}
			if derivedID(k) == id {
				return k
			}
		}
	}
	sum := sha256.Sum256([]byte(id))
	return idKey{[derivedBytes]byte(sum[:]), 0}
}

// identify gives the row its id: the given one, or one derived from the content, so that importing the same file
// again adds nothing. Equal lines without an id are counted: the second of two equal runs is a run of its own.
// The row is not fresh if the history had the same event under the same id before.
func (r *reader) identify(row *machine.Row) (fresh bool, err error) {
	given := r.text(fID)
	switch {
	case r.site.WithoutIDs && given == "":
		return true, nil
	case r.site.WithoutIDs && keyOf(given).number > 0:
		// A line of an export may stand beside the plain one that it came from: now ids are needed.
		if err := r.identifyAll(); err != nil {
			return false, err
		}
	case r.site.WithoutIDs && r.stream != nil:
		row.ID = strings.Clone(given)
		return true, r.stream.mark(given)
	}
	return r.identifyAs(given, row, int32(r.n))
}

// identifyAll gives all rows so far their ids after all, if none of them has been handed out.
func (r *reader) identifyAll() error {
	if r.stream != nil && (r.stream.begun || len(r.stream.marks) > 0) {
		return ErrIDsNeeded
	}
	r.site.WithoutIDs = false
	for i := range r.rows {
		if r.rows[i].ID != "" {
			continue
		}
		if _, err := r.identifyAs("", &r.rows[i], r.lines[i]); err != nil {
			return err
		}
	}
	return nil
}

func (r *reader) identifyAs(given string, row *machine.Row, line int32) (fresh bool, err error) {
	text, err := r.encoder.line(*row)
	if err != nil {
		return false, err
	}
	sum := sha256.Sum256(text)
	content := [derivedBytes]byte(sum[:])
	if given != "" {
		row.ID = strings.Clone(given)
		return r.enter(keyOf(given), given, seen{content, line, 0})
	}
	k := idKey{content, 1}
	if old, ok := r.seen[k]; ok && old.content == content && old.plain > 0 {
		old.plain++
		r.seen[k] = old
		k.number = old.plain
		row.ID = derivedID(k)
		return r.enter(k, row.ID, seen{content, line, 0})
	}
	row.ID = derivedID(k)
	return r.enter(k, row.ID, seen{content, line, 1})
}

// enter remembers an id. It is not fresh if it stands for the same event already.
func (r *reader) enter(k idKey, id string, s seen) (fresh bool, err error) {
	old, ok := r.seen[k]
	switch {
	case !ok:
		r.seen[k] = s
		return true, nil
	case old.content != s.content:
		return false, fmt.Errorf("id %.60q is that of line %d, which says something else", id, old.line)
	}
	old.plain += s.plain
	r.seen[k] = old
	r.remark(fmt.Sprintf("the same as line %d with the same id: left out", old.line))
	return false, nil
}
