/* What the printed statement says besides the ledger: conditions, instruments, how the figures were
 * made. On the screen it is not there. */
import {make, pairs, table} from "./table.js";
import {absent, energy, number, plain} from "./words.js";

function said(name, v, decimals, unit, times = 1) {
	return absent(v?.value) ? null : [name, `${number(v.value * times, decimals)} ${unit}`.trim()];
}

function conditions(a, evidence) {
	const method = evidence.degree_days;
	return pairs([said("hot water, of all heat", a.hot_water_share, 0, "%", 100), said("flow while heating, by heat", a.flow_temperature_heating_c, 1, "°C"),
		said("flow to the cylinder, by heat", a.flow_temperature_hot_water_c, 1, "°C"), said("outside on average", a.outdoor_c, 1, "°C"),
		said(method ? `degree days, ${method.method}, base ${number(method.base_c, 1)} °C` : "degree days", a.degree_days_kd, 0, "K d"),
		said("starts", a.starts, 0, ""), said("defrosts", a.defrosts, 0, ""), said("hot-water runs", a.hot_water_runs, 0, ""),
		said("renewable by Decision 2013/114/EU", a.renewable_heat_kwh, 0, "kWh")].filter(Boolean));
}

function limit(value, unit) {
	return absent(value) ? "not said" : `± ${number(value, 2)} ${unit}`;
}

/* Of the sensors of some roles, each class once. */
function classOf(evidence, ...roles) {
	return [...new Set(evidence.sensors.filter((s) => roles.includes(s.role) && s.class).map((s) => s.class))].join(", ");
}

function instruments(evidence) {
	const {limits, heat_source: source} = evidence;
	const pair = limits.pair_class ?? classOf(evidence, "flow_temperature", "return_temperature");
	const flow = limits.heat_source_class ?? classOf(evidence, "flow_rate");
	return table("Instruments, and their limits of error as the uncertainty took them", ["Instrument", "Of what", "Read by", "Class", "Limit"], [
		...evidence.meters.map((m) => [m.name, plain(m.feeds.join(", ")), plain(m.read_by), m.class ?? "not said", limit(m.limit_percent, "%")]),
		["temperature pair", "flow and return", source, pair || "not said", limit(limits.pair_k, "K")],
		["flow", "heat", source, flow || "not said", limit(limits.flow_percent, "%")]]);
}

function boundaries(evidence) {
	return table("At every boundary that the meters allow", ["Boundary", "Meters", "Heat for one of electricity"],
		evidence.boundaries.map((b) => [b.name, b.meters.join(", "), `${number(b.efficiency, 2)} (${number(b.efficiency_low, 2)} to ${number(b.efficiency_high, 2)})`]));
}

function parts(evidence) {
	const some = Object.entries(evidence.parts).filter(([, kwh]) => kwh);
	return some.length ? make("p", {}, `Within, as registers tell it: ${some.map(([name, kwh]) => `${plain(name.replace(/_kwh$/, ""))} ${energy(kwh)} kWh`).join(", ")}.`) : null;
}

export function drawSheet(where, answer) {
	const e = answer.evidence, s = e.software;
	where.replaceChildren(...[conditions(answer.answer ?? {}, e), make("div", {class: "side"}, boundaries(e), instruments(e)), parts(e),
		make("p", {}, `Made by ${s.name} ${s.version}, schema ${s.schema}${s.mapping ? `, mapping ${s.mapping}` : ""}.${e.sealed_days ? ` ${e.sealed_days} days keep their rows, as their journal is not whole.` : ""}`)].filter(Boolean));
}
