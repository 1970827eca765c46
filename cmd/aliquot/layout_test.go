package main

import (
	"go/ast"
	"go/parser"
	"go/token"
	"io/fs"
	"os"
	"path/filepath"
	"sort"
	"strconv"
	"strings"
	"testing"
)

// room is a package's place in the import table of DEVELOPERS.md.
type room struct {
	ours   []string // packages of ours that it may import, directly
	others []string // modules of others, by prefix
	pure   bool     // reads no clock, starts no goroutine, touches no file or network
}

var table = map[string]room{
	"safety":                 {pure: true},
	"planner/units":          {pure: true},
	"planner/nearest":        {pure: true},
	"planner/checktable":     {}, // test support: no package may import it but in its tests
	"planner/stock":          {ours: []string{"planner/nearest", "planner/units"}, pure: true},
	"planner/metering":       {ours: []string{"safety"}, pure: true},
	"planner/estimate":       {ours: []string{"planner/units"}, pure: true},
	"planner/seawater":       {pure: true},
	"planner/tank":           {ours: []string{"planner/seawater", "planner/units"}, pure: true},
	"planner/assay":          {ours: []string{"planner/units", "planner/seawater"}, pure: true},
	"planner/trial":          {ours: []string{"planner", "planner/units", "planner/estimate", "safety"}, pure: true},
	"planner/advice":         {ours: []string{"planner", "planner/units", "planner/estimate", "safety"}, pure: true},
	"planner":                {ours: []string{"planner/units", "planner/estimate", "safety"}, pure: true},
	"bridge/machine":         {ours: []string{"planner", "planner/advice", "planner/assay", "planner/units", "planner/estimate", "planner/metering", "planner/seawater", "planner/stock", "safety"}, pure: true},
	"bridge/node":            {ours: []string{"bridge/machine", "bridge/topics/payload", "safety"}, pure: true},
	"bridge/history":         {ours: []string{"bridge/machine", "planner/assay", "planner/estimate", "planner/units", "planner/metering", "safety"}, pure: true},
	"bridge/commission":      {ours: []string{"bridge/machine", "planner/metering", "planner/units", "safety"}, pure: true},
	"bridge/simnode":         {ours: []string{"safety"}, pure: true},
	"bridge/topics":          {ours: []string{"bridge/machine", "bridge/topics/payload", "planner/nearest", "planner/units", "safety"}, pure: true},
	"bridge/discovery":       {ours: []string{"bridge/machine", "bridge/topics", "planner/units"}, pure: true},
	"bridge/topics/payload":  {ours: []string{"planner/units", "safety"}, pure: true},
	"bridge/logbook":         {ours: []string{"bridge/machine", "bridge/plot", "planner/estimate", "planner/units", "safety"}, pure: true},
	"bridge/holiday":         {ours: []string{"bridge/machine", "bridge/plot"}, pure: true},
	"bridge/labtable":        {ours: []string{"planner/units"}, pure: true},
	"bridge/screen":          {ours: []string{"bridge/machine", "safety"}, pure: true},
	"bridge/agenda":          {pure: true},
	"bridge/faultsim":        {ours: []string{"bridge/agenda", "bridge/machine", "bridge/node", "bridge/simnode", "planner", "planner/units", "safety"}, pure: true},
	"bridge/rehearse":        {ours: []string{"bridge/agenda", "bridge/machine", "bridge/node", "bridge/simnode", "planner", "planner/estimate", "planner/tank", "planner/units", "safety"}, pure: true},
	"bridge/rehearse/report": {ours: []string{"bridge/plot", "bridge/rehearse", "safety"}, pure: true},
	"bridge/plot":            {pure: true},
	"planner/acidity":        {ours: []string{"planner/units", "planner/stock", "planner/seawater"}, pure: true},
	"config": {ours: []string{"planner", "planner/nearest", "planner/acidity", "planner/assay", "planner/units", "planner/seawater", "planner/stock", "planner/metering", "safety"},
		others: []string{"gopkg.in/yaml.v3", "github.com/robfig/cron/v3"}},
	"bridge/mqtt":               {others: []string{"github.com/eclipse/paho.mqtt.golang"}},
	"bridge/mqtt/mosquittotest": {ours: []string{"bridge/needed"}}, // test support: a real broker
	"bridge/needed":             {},                                // test support: what becomes of a test without one
	"bridge/broker":             {others: []string{"github.com/mochi-mqtt/server/v2"}},
	"bridge/ledger":             {ours: []string{"bridge/machine", "safety"}, others: []string{"modernc.org/sqlite"}},
	"bridge/metrics":            {ours: []string{"bridge/machine", "safety"}, others: []string{"github.com/prometheus/client_golang"}},
	"bridge/notify":             {ours: []string{"bridge/machine"}},
	"bridge/web":                {ours: []string{"bridge/machine", "bridge/screen", "safety"}},
	"bridge":                    {ours: []string{"bridge/discovery", "bridge/machine", "bridge/node", "bridge/topics", "planner/units", "safety"}},
	"deploy":                    {},
	"cmd/aliquot":               {ours: []string{"*"}, others: []string{"github.com/alecthomas/kong", "github.com/schollz/progressbar/v3"}},
}

// clocks are what a pure package must not use of package time.
var clocks = map[string]bool{"Now": true, "Since": true, "Until": true, "After": true, "AfterFunc": true, "Sleep": true, "Tick": true, "NewTimer": true, "NewTicker": true}

// world are the packages of the standard library that a pure package must not import.
var world = []string{"os", "net", "net/http", "log", "log/slog", "context", "syscall", "os/exec", "os/signal", "path/filepath", "io/fs", "crypto/rand", "math/rand", "sync", "runtime", "embed", "database/sql"}

const module = "aliquot/"

func TestImportTable(t *testing.T) {
	root := filepath.Join("..", "..")
	seen := map[string]bool{}
	walkPackages(t, root, func(dir string, file *ast.File, set *token.FileSet) {
		r, ok := table[dir]
		if !ok {
			t.Errorf("%s is not in the import table", dir)
			return
		}
		seen[dir] = true
		for _, i := range file.Imports {
			checkImport(t, dir, r, i, set)
		}
		if r.pure {
			checkPure(t, file, set)
		}
	})
	for dir := range table {
		if !seen[dir] {
			t.Errorf("%s is in the import table, but there is no such package", dir)
		}
	}
}

// TestTopLevel holds the fixed top level of the repository.
func TestTopLevel(t *testing.T) {
	want := map[string]bool{"cmd": true, "bridge": true, "planner": true, "safety": true, "config": true, "deploy": true, "testdata": true,
		"go.mod": true, "go.sum": true, "README.md": true, "DEVELOPERS.md": true, "LICENSE": true, ".gitignore": true, ".ci": true, ".git": true}
	entries, err := os.ReadDir(filepath.Join("..", ".."))
	if err != nil {
		t.Fatal(err)
	}
	var extra []string
	for _, e := range entries {
		if !want[e.Name()] {
			extra = append(extra, e.Name())
		}
	}
	sort.Strings(extra)
	if len(extra) > 0 {
		t.Errorf("not at home at the top level: %s", strings.Join(extra, ", "))
	}
}

func walkPackages(t *testing.T, root string, visit func(dir string, file *ast.File, set *token.FileSet)) {
	t.Helper()
	err := filepath.WalkDir(root, func(path string, d fs.DirEntry, err error) error {
		if err != nil {
			return err
		}
		if d.IsDir() {
			if name := d.Name(); name == "testdata" || (strings.HasPrefix(name, ".") && name != ".." && name != ".") {
				return filepath.SkipDir
			}
			return nil
		}
		if !strings.HasSuffix(path, ".go") || strings.HasSuffix(path, "_test.go") {
			return nil
		}
		set := token.NewFileSet()
		file, err := parser.ParseFile(set, path, nil, 0)
		if err != nil {
			return err
		}
		dir, err := filepath.Rel(root, filepath.Dir(path))
		if err != nil {
			return err
		}
		visit(filepath.ToSlash(dir), file, set)
		return nil
	})
	if err != nil {
		t.Fatal(err)
	}
}

func checkImport(t *testing.T, dir string, r room, i *ast.ImportSpec, set *token.FileSet) {
	path, err := strconv.Unquote(i.Path.Value)
	if err != nil {
		t.Fatal(err)
	}
	at := set.Position(i.Pos())
	switch own, isOurs := strings.CutPrefix(path, module); {
	case isOurs:
		if !allowed(r.ours, own) {
			t.Errorf("%s: %s must not import %s", at, dir, path)
		}
	case strings.Contains(strings.Split(path, "/")[0], "."):
		for _, o := range r.others {
			if path == o || strings.HasPrefix(path, o+"/") {
				return
			}
		}
		t.Errorf("%s: %s must not import %s", at, dir, path)
	case r.pure && allowed(world, path):
		t.Errorf("%s: %s is pure and must not import %s", at, dir, path)
	}
}

func allowed(list []string, path string) bool {
	for _, p := range list {
		if p == path || p == "*" {
			return true
		}
	}
	return false
}

func checkPure(t *testing.T, file *ast.File, set *token.FileSet) {
	ast.Inspect(file, func(n ast.Node) bool {
		switch n := n.(type) {
		case *ast.GoStmt:
			t.Errorf("%s: a pure package starts no goroutine", set.Position(n.Pos()))
		case *ast.SelectorExpr:
			if x, ok := n.X.(*ast.Ident); ok && x.Name == "time" && clocks[n.Sel.Name] {
				t.Errorf("%s: a pure package does not use time.%s", set.Position(n.Pos()), n.Sel.Name)
			}
		}
		return true
	})
}
