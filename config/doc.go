// Package config reads a site's configuration and says everything that is wrong with it.
//
// It turns one strict YAML document into checked, typed values with the place of each entry in the file. It
// decides which keys there are, which values each may have and which relations must hold between them; every
// mistake is reported at once, with file, line, column, what was found, what is allowed and what to do.
//
// It never starts anything, never opens the files that a configuration names (password, certificates, ledger),
// never reads a clock, and never changes, rounds into range or guesses a value. On any problem it returns no
// site at all.
package config
