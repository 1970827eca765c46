//go:build !race

package ledger

import (
	"bytes"
	"encoding/hex"
	"fmt"
	"hash/fnv"
	"math/rand/v2"
	"path/filepath"
	"regexp"
	"sort"
	"strconv"
	"strings"
)

// A model of one directory on a disk that forgets what was not synced. It is fed with the system calls of a real
// process and gives the images that a power cut may leave behind. It is stricter than any file system in use: a sync
// of a file saves its bytes, not its name; names are saved by a sync of the directory; bytes that were not synced
// may be there in any subset of their sectors; only names appear in the order in which they were made.

const sector = 512 // bytes that a disk writes whole or not at all

// change is a write, or where data is nil a new size.
type change struct {
	at   int64
	data []byte
}

func (c change) apply(content []byte) []byte {
	if c.data == nil {
		return append(content[:min(int64(len(content)), c.at)], make([]byte, max(0, c.at-int64(len(content))))...)
	}
	if end := c.at + int64(len(c.data)); end > int64(len(content)) {
		content = append(content, make([]byte, end-int64(len(content)))...)
	}
	copy(content[c.at:], c.data)
	return content
}

// node is a file, whatever its name.
type node struct {
	synced []byte
	since  []change
}

func (n *node) sync() {
	for _, c := range n.since {
		n.synced = c.apply(n.synced)
	}
	n.since = nil
}

// naming gives names to files, all at once; nil removes a name.
type naming map[string]*node

type disk struct {
	dir    string
	synced naming
	since  []naming
}

// names are the files after the first n namings that were not synced.
func (d *disk) names(n int) naming {
	out := naming{}
	for _, step := range append([]naming{d.synced}, d.since[:n]...) {
		for name, file := range step {
			out[name] = file
		}
	}
	for name, file := range out {
		if file == nil {
			delete(out, name)
		}
	}
	return out
}

func (d *disk) file(path string) *node {
	name := filepath.Base(path)
	if n := d.names(len(d.since))[name]; n != nil {
		return n
	}
	n := &node{}
	d.since = append(d.since, naming{name: n})
	return n
}

// call is one system call that succeeded.
type call struct {
	name  string
	paths []string // decoded, of file descriptors or as arguments
	data  []byte
	last  int64 // the last number among the arguments
	text  string
}

// do lets a call change the disk. It says false for calls that change nothing.
func (d *disk) do(c call) bool {
	if len(c.paths) == 0 || c.paths[0] != d.dir && filepath.Dir(c.paths[0]) != d.dir || strings.HasSuffix(c.paths[0], "-shm") || strings.HasSuffix(c.paths[0], ".lock") {
		return false // the -shm file is rebuilt, the lock file says nothing
	}
	path := c.paths[0]
	switch c.name {
	case "open", "openat":
		if !strings.Contains(c.text, "O_CREAT") {
			return false
		}
		if n := d.file(path); strings.Contains(c.text, "O_TRUNC") {
			n.since = append(n.since, change{at: 0})
		}
	case "pwrite64":
		n := d.file(path)
		n.since = append(n.since, change{c.last, c.data})
	case "write": // at the end of a file that was written from its start
		n := d.file(path)
		size := len(n.synced)
		for _, s := range n.since {
			size = len(s.apply(make([]byte, size)))
		}
		n.since = append(n.since, change{int64(size), c.data})
	case "ftruncate", "truncate":
		n := d.file(path)
		n.since = append(n.since, change{at: c.last})
	case "fsync", "fdatasync":
		if path != d.dir {
			d.file(path).sync()
			return true
		}
		d.synced, d.since = d.names(len(d.since)), nil
	case "rename", "renameat", "renameat2":
		d.since = append(d.since, naming{filepath.Base(path): nil, filepath.Base(c.paths[1]): d.file(path)})
	case "unlink", "unlinkat":
		d.since = append(d.since, naming{filepath.Base(path): nil})
	default:
		return false
	}
	return true
}

// image is what a disk may hold after a power cut, by name.
type image map[string][]byte

func (i image) key() uint64 {
	h := fnv.New64a()
	names := make([]string, 0, len(i))
	for name := range i {
		names = append(names, name)
	}
	sort.Strings(names)
	for _, name := range names {
		fmt.Fprintf(h, "%s %d ", name, len(i[name]))
		_, _ = h.Write(i[name])
	}
	return h.Sum64()
}

// cuts are the ways in which a power cut treats what was not synced.
var cuts = []struct {
	name  string
	names func(n int, random *rand.Rand) int // how many of n namings are kept
	keep  func(i, n int, c change, random *rand.Rand) []change
}{
	{"nothing", none, func(int, int, change, *rand.Rand) []change { return nil }},
	{"everything", all, func(_, _ int, c change, _ *rand.Rand) []change { return []change{c} }},
	{"names only", all, func(int, int, change, *rand.Rand) []change { return nil }},
	{"bytes only", none, func(_, _ int, c change, _ *rand.Rand) []change { return []change{c} }},
	{"last torn", all, func(i, n int, c change, random *rand.Rand) []change {
		if i < n-1 || c.data == nil {
			return []change{c}
		}
		return []change{{c.at, c.data[:random.IntN(len(c.data)+1)]}}
	}},
	{"first lost", all, func(i, _ int, c change, _ *rand.Rand) []change {
		if i == 0 {
			return nil
		}
		return []change{c}
	}},
	{"any sectors", func(n int, random *rand.Rand) int { return random.IntN(n + 1) }, anySectors},
}

func none(int, *rand.Rand) int    { return 0 }
func all(n int, _ *rand.Rand) int { return n }

// anySectors keeps a change, loses it, or keeps some of its sectors.
func anySectors(_, _ int, c change, random *rand.Rand) (kept []change) {
	switch random.IntN(3) {
	case 0:
		return nil
	case 1:
		return []change{c}
	}
	if c.data == nil {
		return []change{c}
	}
	for from := 0; from < len(c.data); {
		until := min(len(c.data), int((c.at+int64(from))/sector+1)*sector-int(c.at))
		if random.IntN(2) == 0 {
			kept = append(kept, change{c.at + int64(from), c.data[from:until]})
		}
		from = until
	}
	return kept
}

// cut gives what the disk holds after a power cut now.
func (d *disk) cut(how int, random *rand.Rand) image {
	out := image{}
	for name, n := range d.names(cuts[how].names(len(d.since), random)) {
		content := bytes.Clone(n.synced)
		for i, c := range n.since {
			for _, k := range cuts[how].keep(i, len(n.since), c, random) {
				content = k.apply(content)
			}
		}
		out[name] = content
	}
	return out
}

var (
	resumed  = regexp.MustCompile(`^(\d+) +<\.\.\. \w+ resumed>(.*)$`)
	callLine = regexp.MustCompile(`^\d+ +(\w+)\((.*)\) += (-?\d+)`)
	hexText  = regexp.MustCompile(`(?:<|")((?:\\x[0-9a-f]{2})*)(?:>|")(\.\.\.)?`)
	number   = regexp.MustCompile(`, (\d+)$`)
)

// readCalls reads what strace -f -y -xx wrote. A call that another thread interrupted counts where it ended.
func readCalls(trace string) (calls []call, err error) {
	begun := map[string]string{}
	for line := range strings.Lines(trace) {
		line = strings.TrimSuffix(line, "\n")
		pid, _, _ := strings.Cut(line, " ")
		if head, ok := strings.CutSuffix(line, " <unfinished ...>"); ok {
			begun[pid] = head
			continue
		}
		if m := resumed.FindStringSubmatch(line); m != nil {
			line = begun[m[1]] + m[2]
		}
		m := callLine.FindStringSubmatch(line)
		if m == nil || strings.HasPrefix(m[3], "-") {
			continue
		}
		c := call{name: m[1], text: m[2]}
		args := m[2]
		if c.name == "openat" || c.name == "renameat" || c.name == "renameat2" || c.name == "unlinkat" {
			args = regexp.MustCompile(`AT_FDCWD<[^>]*>`).ReplaceAllString(args, "AT_FDCWD")
		}
		for i, s := range hexText.FindAllStringSubmatch(args, -1) {
			b, err := hex.DecodeString(strings.ReplaceAll(s[1], `\x`, ""))
			if err != nil || s[2] != "" {
				return nil, fmt.Errorf("a text of the trace is not whole: %.100s", line)
			}
			if i == 1 && strings.HasSuffix(c.name, "write") || i == 1 && c.name == "pwrite64" {
				c.data = b
				continue
			}
			c.paths = append(c.paths, string(b))
		}
		if n := number.FindStringSubmatch(args); n != nil {
			if c.last, err = strconv.ParseInt(n[1], 10, 64); err != nil {
				return nil, err
			}
		}
		calls = append(calls, c)
	}
	return calls, nil
}
