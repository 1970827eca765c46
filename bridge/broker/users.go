package broker

import (
	"bufio"
	"bytes"
	"crypto/hmac"
	"crypto/pbkdf2"
	"crypto/rand"
	"crypto/sha256"
	"crypto/subtle"
	"encoding/base64"
	"errors"
	"fmt"
	"os"
	"strconv"
	"strings"
	"sync"
	"unicode/utf8"
)

const (
	scheme     = "pbkdf2-sha256"
	iterations = 100_000 // about 13 MB of hashing; each line carries its own number
	minRounds  = 10_000
	maxRounds  = 5_000_000
	saltBytes  = 16
	keyBytes   = 32

	maxUsersFile = 1 << 20 // bytes
	maxPassword  = 4096    // bytes
)

var encoding = base64.RawURLEncoding

// UserLine makes one line of a users file, without a line end. The salt is new each time.
func UserLine(name, password string) (string, error) {
	return userLine(name, password, iterations)
}

func userLine(name, password string, rounds int) (string, error) {
	if err := checkName(name); err != nil {
		return "", err
	}
	if password == "" || len(password) > maxPassword {
		return "", fmt.Errorf("broker: the password of %q has %d bytes, must have 1 to %d", name, len(password), maxPassword)
	}
	salt := make([]byte, saltBytes)
	_, _ = rand.Read(salt) // never fails since Go 1.24
	key, err := pbkdf2.Key(sha256.New, password, salt, rounds, keyBytes)
	if err != nil {
		return "", fmt.Errorf("broker: deriving a key: %w", err)
	}
	return fmt.Sprintf("%s:%s:%d:%s:%s", name, scheme, rounds,
		encoding.EncodeToString(salt), encoding.EncodeToString(key)), nil
}

func checkName(name string) error {
	switch {
	case name == "":
		return errors.New("broker: a user name is empty")
	case len(name) > 128 || !utf8.ValidString(name):
		return errors.New("broker: a user name must be text of at most 128 bytes")
	case strings.ContainsAny(name, ":\r\n\x00") || strings.HasPrefix(name, "#") || strings.TrimSpace(name) != name:
		return fmt.Errorf("broker: the user name %q must not hold a colon or a line end, nor begin with # or a space", name)
	}
	return nil
}

// secret is what is stored of a password.
type secret struct {
	rounds int
	salt   []byte
	key    []byte
}

// matches derives the key again and compares in constant time.
func (s secret) matches(password []byte) bool {
	got, err := pbkdf2.Key(sha256.New, string(password), s.salt, s.rounds, len(s.key))
	return err == nil && subtle.ConstantTimeCompare(got, s.key) == 1
}

// users checks names and passwords against a file, which is read again at each check, so that a changed
// password works without a restart. A file that cannot be read or understood lets nobody in.
type users struct {
	file string

	mu sync.Mutex // one check at a time: a flood of wrong passwords takes one core at most
	// known remembers the last good password of each name as a keyed hash together with what the file says,
	// so that a whole site that reconnects at once does not derive every key again.
	known map[string][sha256.Size]byte
	key   [32]byte // of those hashes; random
}

func newUsers(file string) *users {
	u := &users{file: file, known: make(map[string][sha256.Size]byte)}
	_, _ = rand.Read(u.key[:]) // never fails since Go 1.24
	return u
}

func (u *users) check(name string, password []byte) (bool, error) {
	u.mu.Lock()
	defer u.mu.Unlock()
	all, err := u.read()
	if err != nil {
		return false, err
	}
	if len(password) > maxPassword {
		return false, nil
	}
	s, ok := all[name]
	if !ok {
		// As much work as for a listed name, so that names cannot be guessed by timing.
		s = secret{rounds: iterations, salt: make([]byte, saltBytes), key: make([]byte, keyBytes)}
	}
	mark := u.mark(s, password)
	if last, seen := u.known[name]; ok && seen && hmac.Equal(last[:], mark[:]) {
		return true, nil
	}
	if !s.matches(password) || !ok {
		return false, nil
	}
	u.known[name] = mark
	return true, nil
}

// mark changes with the password and with the line of the file. Salt and key have no length of their own in
// it: the key is always keyBytes long and comes first.
func (u *users) mark(s secret, password []byte) (sum [sha256.Size]byte) {
	h := hmac.New(sha256.New, u.key[:])
	stored := sha256.Sum256(append(append([]byte(nil), s.key...), s.salt...))
	h.Write(stored[:])
	h.Write(password)
	copy(sum[:], h.Sum(nil))
	return sum
}

// read parses the file. Errors name the file and the line, never what is on it.
func (u *users) read() (map[string]secret, error) {
	info, err := os.Stat(u.file)
	if err != nil {
		return nil, fmt.Errorf("broker: reading the users file: %w", err)
	}
	if !info.Mode().IsRegular() || info.Size() > maxUsersFile {
		return nil, fmt.Errorf("broker: the users file %s is no ordinary file of at most %d bytes", u.file, maxUsersFile)
	}
	content, err := os.ReadFile(u.file)
	if err != nil {
		return nil, fmt.Errorf("broker: reading the users file: %w", err)
	}
	all := make(map[string]secret)
	lines := bufio.NewScanner(bytes.NewReader(content))
	for n := 1; lines.Scan(); n++ {
		line := strings.TrimSpace(lines.Text())
		if line == "" || strings.HasPrefix(line, "#") {
			continue
		}
		name, s, err := parseUser(line)
		if err != nil {
			return nil, fmt.Errorf("broker: %s line %d: %w", u.file, n, err)
		}
		if _, twice := all[name]; twice {
			return nil, fmt.Errorf("broker: %s line %d: the user %q is listed twice", u.file, n, name)
		}
		all[name] = s
	}
	if err := lines.Err(); err != nil {
		return nil, fmt.Errorf("broker: %s: %w", u.file, err)
	}
	return all, nil
}

func parseUser(line string) (string, secret, error) {
	parts := strings.Split(line, ":")
	if len(parts) != 5 {
		return "", secret{}, fmt.Errorf("%d fields, must be 5: name:%s:iterations:salt:key", len(parts), scheme)
	}
	if err := checkName(parts[0]); err != nil {
		return "", secret{}, errors.New("not a user name")
	}
	if parts[1] != scheme {
		return "", secret{}, errors.New("the second field must be " + scheme)
	}
	rounds, err := strconv.Atoi(parts[2])
	if err != nil || rounds < minRounds || rounds > maxRounds {
		return "", secret{}, fmt.Errorf("iterations must be a number from %d to %d", minRounds, maxRounds)
	}
	salt, err := encoding.DecodeString(parts[3])
	if err != nil || len(salt) < 8 {
		return "", secret{}, errors.New("the salt must be base64 of at least 8 bytes")
	}
	key, err := encoding.DecodeString(parts[4])
	if err != nil || len(key) != keyBytes {
		return "", secret{}, fmt.Errorf("the key must be base64 of %d bytes", keyBytes)
	}
	return parts[0], secret{rounds, salt, key}, nil
}
