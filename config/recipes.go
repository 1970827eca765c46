package config

import (
	"fmt"
	"strings"
)

// Recipe is a schedule that people ask for, and the keys of a channel that say it.
type Recipe struct {
	Wish  string
	Slots string
	Every int    // days; 0: left out
	Night string // the key's value; empty: left out
	Note  string
}

// Recipes lists them in the order of the reference. A test holds that each does what its wish says.
func Recipes() []Recipe {
	return []Recipe{
		{Wish: "once a day", Slots: "15 9 * * *"},
		{Wish: "three times a day", Slots: "15 8,14,20 * * *"},
		{Wish: "every hour", Slots: "15 * * * *"},
		{Wish: "every half hour", Slots: "*/30 * * * *"},
		{Wish: "every ten minutes", Slots: "*/10 * * * *", Note: "a run below smallest_run is carried to a later slot"},
		{Wish: "every two hours, on the half hour", Slots: "30 */2 * * *"},
		{Wish: "between two channels that are kept apart by 10 min: this one", Slots: "0,30 * * * *"},
		{Wish: "… and the other one", Slots: "15,45 * * * *"},
		{Wish: "every second day", Slots: "15 9 * * *", Every: 2, Note: "the run holds two days' volume; count from a day of your choice with `start`"},
		{Wish: "every third day, split in two", Slots: "15 9,21 * * *", Every: 3},
		{Wish: "on weekdays", Slots: "15 9 * * MON-FRI", Note: "Monday's run holds three days' volume; see that per_run leaves room"},
		{Wish: "on Monday, Wednesday and Friday", Slots: "15 9 * * MON,WED,FRI"},
		{Wish: "once a week", Slots: "15 9 * * SUN"},
		{Wish: "once a month, on the first", Slots: "15 9 1 * *"},
		{Wish: "at night only", Slots: "*/30 20-23,0-5 * * *", Note: "away from the lights too"},
		{Wish: "in a window by day", Slots: "*/20 10-15 * * *"},
		{Wish: "in two windows", Slots: "*/20 6-8,18-20 * * *"},
		{Wish: "day and night, most of it at night", Slots: "*/30 * * * *", Night: `{from: "20:00", to: "08:00", share: 70 %}`},
	}
}

const recipesHead = `## Schedules that people ask for

What stands in a channel's ` + "`slots`" + `, and where needed ` + "`every`" + ` and ` + "`night`" + `. ` + "`aliquot plan --day today`" + ` draws what comes of it.

| wish | keys | |
| --- | --- | --- |
`

const recipesFoot = `
One expression cannot say: every 40, 45 or 50 minutes (an hour holds no whole number of them: take 30 or 60), the first
Monday of a month (cron takes either of a day of the month and a day of the week, and ` + "`check`" + ` warns of both), the last day of a
month (take the first of the next), a part of the year (the first slot after it would owe all the months between, and
is refused: take the channel out of service instead). Times are local: on the night that the clock goes forward a slot that does not exist runs
at the first minute after it, on the night that it goes back a doubled one runs once.
`

func recipesPage() string {
	var b strings.Builder
	b.WriteString(recipesHead)
	for _, r := range Recipes() {
		keys := fmt.Sprintf("`slots: %q`", r.Slots)
		if r.Every > 0 {
			keys += fmt.Sprintf(", `every: %dd`", r.Every)
		}
		if r.Night != "" {
			keys += fmt.Sprintf(", `night: %s`", r.Night)
		}
		fmt.Fprintf(&b, "| %s | %s | %s |\n", r.Wish, keys, r.Note)
	}
	return b.String() + recipesFoot
}
