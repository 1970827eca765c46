package broker

import (
	"os"
	"path/filepath"
	"strings"
	"testing"
)

func usersFile(t *testing.T, content string) string {
	t.Helper()
	path := filepath.Join(t.TempDir(), "users")
	if err := os.WriteFile(path, []byte(content), 0o600); err != nil {
		t.Fatal(err)
	}
	return path
}

func mustUserLine(t *testing.T, name, password string) string {
	t.Helper()
	line, err := userLine(name, password, minRounds) // little work: the tests run on slow machines
	if err != nil {
		t.Fatal(err)
	}
	return line
}

func TestUserLine(t *testing.T) {
	line, err := UserLine("reef", "heron-lantern")
	if err != nil {
		t.Fatal(err)
	}
	if !strings.HasPrefix(line, "reef:pbkdf2-sha256:100000:") || strings.ContainsAny(line, "\r\n") || strings.Contains(line, "heron") {
		t.Errorf("UserLine = %q; want one line without the password", line)
	}
	if first, second := mustUserLine(t, "reef", "heron-lantern"), mustUserLine(t, "reef", "heron-lantern"); first == second {
		t.Error("two lines for one password are equal; want a new salt each time")
	}
	for _, name := range []string{"", "a:b", "a\nb", "#a", " a", "a ", "a\x00", "\xff", strings.Repeat("a", 129)} {
		if line, err := UserLine(name, "x"); err == nil {
			t.Errorf("UserLine(%q) = %q; want an error", name, line)
		}
	}
	for _, password := range []string{"", strings.Repeat("x", 4097)} {
		if line, err := UserLine("reef", password); err == nil || (password != "" && strings.Contains(err.Error(), password)) {
			t.Errorf("UserLine with %d bytes = %q, %v; want an error without it", len(password), line, err)
		}
	}
}

func TestUsersCheck(t *testing.T) {
	u := newUsers(usersFile(t, "# people\n\n"+mustUserLine(t, "reef", "one")+"\r\n"+mustUserLine(t, "node", "two")+"\n"))
	tests := []struct {
		name, password string
		want           bool
	}{
		{"reef", "one", true},
		{"node", "two", true},
		{"reef", "two", false},
		{"reef", "", false},
		{"reef", "one ", false},
		{"Reef", "one", false},
		{"", "one", false},
		{"nobody", "one", false},
		{"# people", "", false},
		{"reef", "one" + strings.Repeat("x", 5000), false},
	}
	for _, tt := range tests {
		if got, err := u.check(tt.name, []byte(tt.password)); got != tt.want || err != nil {
			t.Errorf("check(%q, %q) = %t, %v; want %t", tt.name, tt.password, got, err, tt.want)
		}
	}
}

func TestRememberedPasswords(t *testing.T) {
	u := newUsers(usersFile(t, mustUserLine(t, "reef", "one")))
	steps := []struct {
		name, password string
		file           string // new content before the check; empty: as it is
		want           bool
	}{
		{"reef", "one", "", true},
		{"reef", "one", "", true}, // from memory
		{"reef", "two", "", false},
		{"node", "one", "", false},
		{"reef", "one", mustUserLine(t, "reef", "two"), false}, // what is remembered no longer counts
		{"reef", "two", "", true},
		{"reef", "two", mustUserLine(t, "node", "two"), false},
		{"reef", "two", "broken", false},
	}
	for i, s := range steps {
		if s.file != "" {
			if err := os.WriteFile(u.file, []byte(s.file), 0o600); err != nil {
				t.Fatal(err)
			}
		}
		if got, _ := u.check(s.name, []byte(s.password)); got != s.want {
			t.Errorf("step %d: check(%q, %q) = %t; want %t", i+1, s.name, s.password, got, s.want)
		}
	}
}

// The key of this line was made with another implementation: python3 hashlib.pbkdf2_hmac("sha256",
// b"heron-lantern", b"0123456789abcdef", 10000, 32).
func TestKnownUserLine(t *testing.T) {
	const line = "reef:pbkdf2-sha256:10000:MDEyMzQ1Njc4OWFiY2RlZg:EYaYEcyAk0QhFTlmb_YTEpo9_fM0ZUJO7QUowuWqvek"
	u := newUsers(usersFile(t, line))
	if ok, err := u.check("reef", []byte("heron-lantern")); !ok || err != nil {
		t.Errorf("check = %t, %v; want true", ok, err)
	}
}

func TestBrokenUsersFilesLetNobodyIn(t *testing.T) {
	good := mustUserLine(t, "reef", "one")
	fields := strings.Split(good, ":")
	with := func(i int, text string) string {
		f := append([]string(nil), fields...)
		f[i] = text
		return strings.Join(f, ":")
	}
	tests := []struct{ name, content, problem string }{
		{"clear password", good + "\nnode:two\n", "line 2: 2 fields, must be 5"},
		{"other scheme", with(1, "md5"), "second field must be pbkdf2-sha256"},
		{"too few iterations", with(2, "9999"), "from 10000 to 5000000"},
		{"too many iterations", with(2, "5000001"), "from 10000 to 5000000"},
		{"iterations in words", with(2, "many"), "from 10000 to 5000000"},
		{"short salt", with(3, "YWJj"), "at least 8 bytes"},
		{"no base64", with(3, "***"), "at least 8 bytes"},
		{"short key", with(4, "YWJj"), "32 bytes"},
		{"no name", with(0, ""), "not a user name"},
		{"twice", good + "\n" + good, `line 2: the user "reef" is listed twice`},
	}
	for _, tt := range tests {
		t.Run(tt.name, func(t *testing.T) {
			u := newUsers(usersFile(t, tt.content))
			ok, err := u.check("reef", []byte("one"))
			if ok || err == nil || !strings.Contains(err.Error(), tt.problem) {
				t.Errorf("check = %t, %v; want nobody let in and %q", ok, err, tt.problem)
			}
			if err != nil && strings.Contains(err.Error(), fields[4]) {
				t.Errorf("the error %q repeats the file's content", err)
			}
		})
	}
	u := newUsers(filepath.Join(t.TempDir(), "none"))
	if ok, err := u.check("reef", []byte("one")); ok || err == nil {
		t.Errorf("check without a file = %t, %v; want an error", ok, err)
	}
	u = newUsers(t.TempDir())
	if ok, err := u.check("reef", []byte("one")); ok || err == nil {
		t.Errorf("check with a directory = %t, %v; want an error", ok, err)
	}
}
