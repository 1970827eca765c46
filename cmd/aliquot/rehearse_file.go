package main

import (
	"errors"
	"strconv"
	"strings"

	"aliquot/bridge/rehearse"
	"aliquot/config"
)

func asMisread(err error) (m misread, ok bool) { ok = errors.As(err, &m); return m, ok }

// keyOfFlag is what a flag is called in a file.
func keyOfFlag(flag string) string { return strings.ReplaceAll(flag, "-", "_") }

// withFile adds what a file asks for to what the flags ask for. Every mistake in it is said at once.
func (s scene) withFile(l loaded, path string, days int) (scene, error) {
	if path == "" {
		return s, nil
	}
	flags := map[string]string{}
	var keys []string
	for _, f := range append(s.lists(), listed{flag: missTests}, listed{flag: waterChange}) {
		flags[keyOfFlag(f.flag)] = f.flag
		keys = append(keys, keyOfFlag(f.flag))
	}
	asked, problems := config.LoadScenario(path, keys)
	for _, a := range asked {
		var one scene
		err := one.put(flags[a.Key], a.Text)
		if err == nil {
			err = one.try(l, days)
		}
		if m, ok := asMisread(err); ok {
			problems = append(problems, config.Problem{File: path, At: a.At, Path: a.Key, Found: strconv.Quote(a.Text) + ": " + m.why, Do: "write it like " + m.example})
		} else if err != nil {
			return s, err
		} else if err := s.put(flags[a.Key], a.Text); err != nil {
			return s, err
		}
	}
	if len(problems) > 0 {
		return s, fail(exitUsage, "%s\n%s in the scenario; nothing was rehearsed", problems.Sorted().String(), count(len(problems), "problem"))
	}
	return s, nil
}

// put adds one text as if its flag had been given.
func (s *scene) put(flag, text string) error {
	switch flag {
	case missTests:
		v, err := strconv.ParseFloat(text, 64)
		if err != nil {
			return usage(flag, text, "a chance is 0 to 1", "0.2")
		}
		s.MissTests = v
	case waterChange:
		s.WaterChange = text
	}
	for _, f := range s.lists() {
		if f.flag == flag {
			*f.texts = append((*f.texts)[:len(*f.texts):len(*f.texts)], text)
		}
	}
	return nil
}

// try reads a scene and forgets it.
func (s scene) try(l loaded, days int) error {
	if err := s.read(l, &rehearse.Scenario{Days: days}); err != nil {
		return err
	}
	_, err := s.waters(l)
	return err
}
