package metrics

import "github.com/prometheus/client_golang/prometheus"

// gauges lists what comes from snapshots: name without prefix, help, labels.
var gauges = []struct {
	name, help string
	labels     []string
}{
	{"info", "Always 1; the version of the program.", []string{"version"}},
	{"ready", "Whether anything may be dosed: broker reached, only owner, ledger good, clock believed.", nil},
	{"withheld", "Whether a reason keeps the whole site from dosing.", []string{"reason"}},
	{"snapshot_timestamp_seconds", "When the state was looked at that this page shows.", nil},
	{"ledger_rows", "Rows in the ledger.", nil},
	{"plan_timestamp_seconds", "When plans were last recomputed.", nil},
	{"plan_next_timestamp_seconds", "When plans will be recomputed next.", nil},
	{"system_net_liters", "Net volume of a system.", []string{"system"}},
	{"system_aragonite_saturation_ratio", "Estimated saturation of aragonite, 1 at equilibrium; missing while it is not known.", []string{"system"}},
	{"quantity_level", "Estimated level of a quantity, in the unit of the label.", []string{"system", "quantity", "unit"}},
	{"quantity_level_sd", "Standard deviation of the estimated level.", []string{"system", "quantity", "unit"}},
	{"quantity_consumption_per_day", "Estimated consumption in a day, in the unit of the label.", []string{"system", "quantity", "unit"}},
	{"quantity_consumption_per_day_sd", "Standard deviation of the estimated consumption.", []string{"system", "quantity", "unit"}},
	{"quantity_target", "Level that is wanted.", []string{"system", "quantity", "unit"}},
	{"quantity_band", "Half width of what counts as on target.", []string{"system", "quantity", "unit"}},
	{"quantity_tests", "Manual tests that the estimate rests on, and that were set aside.", []string{"system", "quantity", "use"}},
	{"quantity_test_unconfirmed", "Whether a test is held back until a second one agrees.", []string{"system", "quantity"}},
	{"quantity_test_timestamp_seconds", "When the last accepted sample was drawn.", []string{"system", "quantity"}},
	{"quantity_test_due_timestamp_seconds", "When due_every calls for the next test at the latest; missing where no reminder is asked for.", []string{"system", "quantity"}},
	{"quantity_next_test_timestamp_seconds", "When the next test is due: the earlier of when it is worth most and of due_every.", []string{"system", "quantity"}},
	{"quantity_consumption_per_day_trend", "By how much the consumption in a day changes each day; missing while too little is known.", []string{"system", "quantity", "unit"}},
	{"quantity_gain_ratio", "What the system gets for 1 of what is told to be dosed.", []string{"system", "quantity"}},
	{"quantity_pending", "What was dosed and is not in the level yet, such as the alkalinity of organic salts.", []string{"system", "quantity", "unit"}},
	{"quantity_gain_ratio_sd", "Standard deviation of that ratio.", []string{"system", "quantity"}},
	{"channel_running", "Whether a run is open.", []string{"channel"}},
	{"channel_rate_liters_per_second", "Calibrated rate of the pump.", []string{"channel"}},
	{"channel_calibrated_timestamp_seconds", "When the channel was last calibrated.", []string{"channel"}},
	{"channel_provisional", "Whether the calibration rests on fewer than three trials.", []string{"channel"}},
	{"channel_primed", "Whether the line is primed.", []string{"channel"}},
	{"channel_planned_liters_per_day", "Volume that the plan gives in a day.", []string{"channel"}},
	{"channel_window_liters", "The most that may have been dispensed in the last 24 h.", []string{"channel"}},
	{"channel_window_limit_liters", "The most that may be dispensed in any 24 h.", []string{"channel"}},
	{"channel_dispensed_liters_total", "Volume dispensed since the ledger began: the most that may have left the outlet (hi), the least that surely did (lo).", []string{"channel", "bound"}},
	{"channel_tubing_run_seconds", "Running time of the pump tubing.", []string{"channel"}},
	{"channel_tubing_life_seconds", "Running time that the pump tubing is good for.", []string{"channel"}},
	{"channel_next_run_timestamp_seconds", "When the next run is planned.", []string{"channel"}},
	{"channel_next_run_liters", "Volume of the next planned run.", []string{"channel"}},
	{"channel_last_run_timestamp_seconds", "When the channel last ran.", []string{"channel"}},
	{"channel_course_given_liters", "The most that may have gone into the tank since the first day of the channel's course; missing without one.", []string{"channel"}},
	{"channel_course_total_liters", "Volume at which the course ends; missing where none is declared.", []string{"channel"}},
	{"channel_course_running", "Whether the course has begun and is not over; missing without one.", []string{"channel"}},
	{"channel_cap_timestamp_seconds", "When the channel will run into a cap, by the trend of the use; missing where nothing says so.", []string{"channel"}},
	{"channel_withheld", "Whether a reason keeps the channel from running.", []string{"channel", "reason"}},
	{"container_capacity_liters", "What the container can hold.", []string{"container"}},
	{"container_stop_liters", "At or below this nothing is taken out.", []string{"container"}},
	{"container_remaining_liters", "What the container holds at least (min) and at most (max).", []string{"container", "bound"}},
	{"container_lasts_seconds", "How long the contents last by the plan, counted cautiously.", []string{"container"}},
	{"container_lasts_low_seconds", "How long the contents last if as much is used as may be.", []string{"container"}},
	{"container_low", "Whether the container lasts for less than its warning time.", []string{"container"}},
	{"container_empty", "Whether the container may be down to its stop.", []string{"container"}},
	{"container_level_liters", "What a scale or level sensor says that the container holds; missing while no reading counts.", []string{"container"}},
	{"probe_good", "Whether the probe has a reading that counts.", []string{"probe"}},
	{"probe_seen_timestamp_seconds", "When the probe was last read.", []string{"probe"}},
	{"probe_value", "Last reading, in the unit of the label; missing while none counts.", []string{"probe", "quantity", "unit"}},
	{"node_online", "Whether the node says that it is there.", []string{"node"}},
	{"node_proven_timestamp_seconds", "When a relay was last seen to go off by itself.", []string{"node"}},
	{"interlock_active", "Whether the interlock blocks.", []string{"interlock"}},
	{"interlock_no_data", "Whether it blocks since its probe has no good reading.", []string{"interlock"}},
	{"alerts_raised", "Alerts that are raised.", []string{"level"}},
	{"alerts_unacknowledged", "Raised alerts of which nobody has said that they know.", []string{"level"}},
}

// order and descs are made once from gauges.
var order, descs = describe()

func describe() ([]string, map[string]*prometheus.Desc) {
	var names []string
	all := map[string]*prometheus.Desc{}
	for _, g := range gauges {
		names = append(names, g.name)
		all[g.name] = prometheus.NewDesc("aliquot_"+g.name, g.help, g.labels, nil)
	}
	return names, all
}
