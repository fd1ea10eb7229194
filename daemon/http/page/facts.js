/* Evidence in words: facts by the names that resources give them, each with its unit. A fact that
 * has no words here is told by its name, without the unit at its end. */
import {absent, dayLong, instant, number, percent, plain, unitWords} from "./words.js";

const WORDS = {
	days: "days in the span", days_looked_at: "of these, looked at", n: "days that count", least_known_percent: "a day counts that is known for",
	days_left_out: "days left out", coverage_percent: "days known for", unassigned_kwh: "heat of no known mode", heat_uncertainty_percent: "heat may be off by the instruments' ±",
	base_temperature: "where heating begins was", divisor: "divisor of the scatter", parameters: "figures fitted", r_squared: "R²", cv_rmse_percent: "CV(RMSE)",
	nmbe_percent: "NMBE", heated_days: "days below where heating begins", scatter_kwh_per_day: "scatter of such a day", autocorrelation: "likeness of a day to the one before (autocorrelation)",
	inflation: "intervals made wider by", intervals: "how the intervals come about", beyond_coldest_k: "design temperature below the coldest day by",
	capacity: "most heat seen", by: "as", hours: "over", t: "day", kw: "power", outdoor_c: "outside", heating_hours: "hours of heating", hot_water_hours: "hours of hot water",
	hours_without_temperatures: "hours without temperatures", outdoor_bin_k: "width of bins outside", flow_bin_k: "width of bins of the water", least_lift_k: "ideal told from a lift of",
	climate: "reference climate (EN 14825)", climate_hours_share: "of its hours, own bins hold", climate_heat_share: "of its heat, own bins hold", windows: "steady windows",
	within_outdoor_k: "outside within", within_flow_k: "water within", least_windows: "windows at least", least_minutes: "minutes at least", days_least: "days needed on either side",
	compared: "days compared", little_known: "left out, known too little", weather_unknown: "left out, weather unknown", too_warm: "left out, too warm",
	weather_not_seen_before: "left out, no such weather before", outdoor_least_c: "coldest day", outdoor_most_c: "warmest day", outdoor_mean_c: "outside on average",
	terms: "terms offered", terms_held: "terms kept", outdoor_slope: "for each K outside", outdoor_slope_sd: "standard deviation of that", carnot_share: "of the ideal (Carnot)",
	carnot_share_changes: "its logarithm changes", by_flow: "by the water", by_source: "by the source", by_output: "by the logarithm of output", emitters: "radiators and floors",
	exponent_said: "exponent is configured", output_w: "heat at 1 K above the room", storage_kwh_per_k: "heat stored", running_share: "of the time, running",
	room_assumed: "room temperature is assumed", heating_days: "days of heating", flow_c: "water to the rooms", return_c: "water from the rooms", source_c: "source",
	room_c: "rooms", a_month: "change a month", cold_c: "pressure told for water at", cylinder_days: "days of the cylinder known", last_at_60: "cylinder last at 60 °C",
	cooling_days: "days with cooling", verdict: "verdict", verdict_by_efficiency: "verdict by efficiency", verdict_by_heat: "verdict by heat", cold_pressure: "pressure, cold",
	heating_below_c: "heating begins below", model: "model",
};

/* Units by the end of a name; the longest that fits. */
const UNITS = [["_kwh_per_day", "kWh a day"], ["_kwh_per_k", "kWh for each K"], ["_percent", "%"], ["_kwh", "kWh"], ["_lpm", "L/min"], ["_bar", "bar"], ["_kw", "kW"],
	["_w", "W"], ["_c", "°C"], ["_k", "K"], ["_s", "s"]];
const ALONE = {kw: "kW", hours: "h"};

/* [the name without its unit, the unit]. */
function parted(name) {
	const [end, unit] = UNITS.find(([e]) => name.endsWith(e)) ?? ["", ALONE[name] ?? ""];
	return [name.slice(0, name.length - end.length), unit];
}

/* Places after the point: two digits of the interval's half, or what the size asks for. */
function places(value, low, high) {
	const half = (high - low) / 2, size = Math.abs(value);
	if (!absent(low) && !absent(high) && half > 0)
		return Math.min(4, Math.max(0, 1 - Math.floor(Math.log10(half))));
	return Number.isInteger(value) || size >= 100 ? 0 : size >= 10 ? 1 : size >= 0.1 ? 2 : 4;
}

/* A value and its interval by the same places: [value, low, high]. */
export function shown(value, low = null, high = null) {
	const d = [value, low, high].every((v) => absent(v) || Number.isInteger(v)) ? 0 : places(value, low, high);
	return [value, low, high].map((v) => absent(v) ? "…" : number(v, d));
}

export function unit(code) {
	const text = unitWords(code);
	return text ? ` ${text}` : "";
}

/* A number by its name: an instant, a share or a quantity. */
function numberWords(name, v) {
	if (v > 1e9)
		return name === "t" ? dayLong(v) : instant(v);
	if (name.endsWith("_share"))
		return percent(v);
	const what = parted(name)[1];
	return `${shown(v)[0]}${what ? ` ${what}` : ""}`;
}

export function factName(name) {
	return WORDS[name] ?? plain(parted(name)[0]);
}

export function factWords(name, v) {
	if (typeof v === "number")
		return numberWords(name, v);
	return v === true ? "yes" : v === false ? "no" : plain(String(v));
}
