/* How every answer that rests on evidence is told: its values with their intervals, what is
 * missing, and the evidence, whatever the resource. */
import {factName, factWords, shown, unit} from "./facts.js";
import {make, pairs, table} from "./table.js";
import {absent, plain} from "./words.js";

/* What values are called; others by their names. */
const NAMES = {
	heat_loss_w_per_k: "each kelvin of cold takes", base_temperature_c: "heating begins below",
	base_load_kwh_per_day: "on warmer days, a day", design_load_kw: "load at the temperature planned for, by the line",
	design_day_kw: "a single day there, warm days' part included", capacity_kw: "the unit can give there", margin_kw: "margin, less what warm days take",
	saving_kwh: "saved, electricity for the rooms", heat_saving_kwh: "saved, heat for the rooms", by_efficiency_kwh: "by efficiency", by_heat_kwh: "by less heat",
	by_room_kwh: "of that, by the rooms' temperature", saving_in_all_kwh: "saved, electricity in all", room_shift_k: "rooms warmer by",
	electricity_kwh: "electricity", heat_kwh: "heat", cop: "heat for one of electricity", cop_expected: "without the change it would have been",
	heating_cop: "heating", hot_water_cop: "hot water", heating_cop_with_defrosts: "heating with defrosts", hot_water_cop_with_defrosts: "hot water with defrosts",
	heating_second_law: "heating, of the ideal", hot_water_second_law: "hot water, of the ideal",
	season_by_own_bins: "a reference season by own figures", ratio: "measured over declared",
	lowering: "cooler by", saving: "would save", saving_share: "that is", days_short: "days short of heat",
	coldest_served: "of the other days, the coldest", warmest_short: "of these, the warmest", largest_lowering: "cooler by at most, no day short",
	heating_flow: "flow while heating", heating_flow_a_month: "which changes a month by", hot_water_flow: "flow to the cylinder",
	hot_water_flow_a_month: "which changes a month by", top_ups: "topped up, times", cold_pressure: "pressure, were the water at 20 °C",
	cold_pressure_a_month: "which changes a month by", hours_since_60: "since the cylinder was at 60 °C",
};

/* A declared point as data sheets write it: a-7_w35 is A−7/W35. */
export function pointName(name) {
	return /^[a-z]-?\d+_w\d+$/.test(name) ? name.toUpperCase().replace("_", "/").replace("-", "−") : plain(name);
}

function valueName(name) {
	return NAMES[name] ?? (name.startsWith("ratio_") ? `at ${pointName(name.slice(6))}` : plain(name));
}

function valueWords(v) {
	const [value, low, high] = shown(v.value, v.low, v.high), told = `${value}${unit(v.unit)}`;
	return absent(v.low) && absent(v.high) ? told : make("span", {}, told, make("span", {class: "half"}, ` ${low} to ${high}`));
}

/* What is told in percent, too, is told once. */
export function values(answer) {
	const share = (name) => answer[name.replace(/_kwh$/, "_percent")];
	return pairs(Object.entries(answer).filter(([name, v]) => !absent(v.value) && !(name.endsWith("_percent") && `${name.slice(0, -8)}_kwh` in answer))
		.map(([name, v]) => [valueName(name), make("span", {}, valueWords(v),
			name.endsWith("_kwh") && share(name) ? `, ${shown(share(name).value, share(name).low, share(name).high)[0]} %` : null)]));
}

export function missing(list) {
	return list?.length ? make("ul", {class: "notes"}, ...list.map((s) => make("li", {}, `Missing: ${s}${s.endsWith(".") ? "" : "."}`))) : null;
}

/* ---- evidence ---- */

function isValue(v) {
	return typeof v === "object" && v !== null && "value" in v && "low" in v;
}

/* What is a sentence takes lines of its own. */
function long(words) {
	return words.length > 40 ? make("span", {class: "remarks"}, words) : words;
}

/* Facts within facts become one list, named by their way; columns and long texts stay away. */
function facts(evidence, way = "") {
	return Object.entries(evidence ?? {}).flatMap(([name, v]) => {
		const here = `${way}${factName(name)}`;
		if (absent(v) || Array.isArray(v) || name === "points" || name === "columns" || name === "caution")
			return [];
		return typeof v === "object" && !isValue(v) ? facts(v, `${here}: `) : [[here, isValue(v) ? valueWords(v) : long(factWords(name, v))]];
	});
}

export function evidence(name, told) {
	const rows = facts(told);
	return rows.length ? make("details", {}, make("summary", {}, "What it rests on"), make("div", {class: "wide", tabindex: "0", role: "group",
		"aria-label": `${name}: what it rests on`}, table(`${name}: what it rests on`, ["Fact", "Value"], rows))) : null;
}

/* Values, what is missing, a figure by the resource's own drawing, evidence. */
export function tell(where, title, answer, ...figures) {
	where.replaceChildren(...[answer.answer ? values(answer.answer) : null, missing(answer.missing), ...figures,
		answer.evidence?.caution || answer.caution ? make("p", {class: "lead"}, answer.evidence?.caution ?? answer.caution) : null,
		evidence(title, answer.evidence)].filter(Boolean));
}
