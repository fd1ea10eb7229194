/* How every answer that rests on evidence is told: its values with their intervals, what is
 * missing, and the evidence, whatever the resource. */
import {make, pairs, table} from "./table.js";
import {absent, dayLong, number, unitWords} from "./words.js";

/* What values are called; others by their names. */
const NAMES = {
	heat_loss_w_per_k: "each kelvin of cold takes", base_temperature_c: "heating begins below",
	base_load_kwh_per_day: "on warmer days, a day", design_load_kw: "load on the coldest day planned for",
	capacity_kw: "the unit can give there", margin_kw: "margin",
	saving_kwh: "electricity for the rooms, less", heat_saving_kwh: "heat for the rooms, less", by_efficiency_kwh: "by efficiency", by_heat_kwh: "by less heat",
	by_room_kwh: "of that, by the rooms' temperature", saving_in_all_kwh: "electricity in all, less", room_shift_k: "rooms warmer by",
	electricity_kwh: "electricity", heat_kwh: "heat", cop: "heat for one of electricity", cop_expected: "expected",
	heating_cop: "heating", hot_water_cop: "hot water", heating_cop_with_defrosts: "heating with defrosts", hot_water_cop_with_defrosts: "hot water with defrosts",
	heating_second_law: "heating, of the ideal", hot_water_second_law: "hot water, of the ideal",
	season_by_own_bins: "a reference season by own figures",
	lowering: "cooler by", saving: "would save", saving_share: "that is", days_short: "days short of heat",
	coldest_served: "coldest day still served", largest_lowering: "cooler by at most",
};

/* Enough places to see the interval move, and no more. */
export function shown(value) {
	const size = Math.abs(value);
	return number(value, Number.isInteger(value) || size >= 100 ? 0 : size >= 10 ? 1 : 2);
}

function unit(code) {
	const text = unitWords(code);
	return text ? ` ${text}` : "";
}

function valueWords(v) {
	const told = `${shown(v.value)}${unit(v.unit)}`;
	return absent(v.low) && absent(v.high) ? told
		: make("span", {}, told, make("span", {class: "half"}, ` ${absent(v.low) ? "…" : shown(v.low)} to ${absent(v.high) ? "…" : shown(v.high)}`));
}

/* What is told in percent, too, is told once. */
export function values(answer) {
	const share = (name) => answer[name.replace(/_kwh$/, "_percent")];
	return pairs(Object.entries(answer).filter(([name, v]) => !absent(v.value) && !(name.endsWith("_percent") && `${name.slice(0, -8)}_kwh` in answer))
		.map(([name, v]) => [NAMES[name] ?? plain(name), make("span", {}, valueWords(v),
			name.endsWith("_kwh") && share(name) ? `, ${shown(share(name).value)} %` : null)]));
}

export function missing(list) {
	return list?.length ? make("ul", {class: "notes"}, ...list.map((s) => make("li", {}, `Missing: ${s}${s.endsWith(".") ? "" : "."}`))) : null;
}

/* ---- evidence ---- */

function plain(name) {
	return name.replaceAll("_", " ");
}

function isValue(v) {
	return typeof v === "object" && v !== null && "value" in v && "low" in v;
}

function factWords(name, v) {
	if (isValue(v))
		return valueWords(v);
	if (typeof v === "number")
		return ["t", "from", "to"].includes(name.split(" ").at(-1)) && v > 1e8 ? dayLong(v) : shown(v);
	return v === true ? "yes" : v === false ? "no" : String(v).replaceAll("_", " ");
}

/* Facts within facts become one list, named by their way; columns and long texts stay away. */
function facts(evidence, way = "") {
	return Object.entries(evidence ?? {}).flatMap(([name, v]) => {
		const here = `${way}${plain(name)}`;
		if (absent(v) || Array.isArray(v) || name === "points" || name === "columns" || name === "caution")
			return [];
		return typeof v === "object" && !isValue(v) ? facts(v, `${here}: `) : [[here, factWords(here, v)]];
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
