/* What went in and came out, a line a month, which opens into its days, and the sum. */
import {make} from "./table.js";
import {dateOf, dayName, energy, instant, modeName, monthName, MODES, number, percent, ratio} from "./words.js";

const SPLIT = ["heating", "hot_water", "defrost"];

function share(known_s, t, t_end) {
	return t_end > t ? known_s / (t_end - t) : 0;
}

/* A bar beside its words: its whole width is the period. */
function knownCell(value) {
	return make("td", {class: "known"},
		make("span", {class: "bar", "aria-hidden": "true", style: `--share: ${value.toFixed(4)}`}),
		percent(value));
}

function remarks(columns, i, now) {
	const said = [];
	const at = (name) => columns[name]?.[i];
	if (at("t_end") > now)
		said.push("not over yet");
	if (at("bridged_electricity_kwh") > 0)
		said.push(`${energy(at("bridged_electricity_kwh"))} kWh of electricity by registers over gaps`);
	if (at("bridged_heat_kwh") > 0)
		said.push(`${energy(at("bridged_heat_kwh"))} kWh of heat by registers over gaps`);
	if (at("cooling_kwh") > 0)
		said.push(`${energy(at("cooling_kwh"))} kWh of cooling apart`);
	if (at("no_cop_because"))
		said.push(`no quotient: ${at("no_cop_because")}`);
	return said.join("; ");
}

function cells(answer, i, now) {
	const c = answer.columns;
	return [
		make("td", {class: "heat"}, energy(c.heat_kwh[i])),
		make("td", {class: "electricity"}, energy(c.electricity_kwh[i])),
		make("td", {class: "ratio"}, ratio(c.cop[i], c.cop_uncertainty[i])),
		knownCell(share(c.paired_s[i], c.t[i], Math.min(c.t_end[i], now))),
		...SPLIT.map((mode) => make("td", {class: "split"}, energy(answer.modes?.[mode]?.heat_kwh[i]))),
		make("td", {class: "remarks"}, remarks(c, i, now)),
	];
}

function dayRows(days, month, now, choose) {
	const c = days.columns, rows = [];
	for (let i = 0; i < c.t.length; i++) {
		if (c.t[i] < month.t || c.t[i] >= month.t_end)
			continue;
		rows.push(make("tr", {class: "day"},
			make("th", {scope: "row"}, make("button", {type: "button", onclick: () => choose(dateOf(c.t[i]))},
				dayName(c.t[i]))),
			...cells(days, i, now)));
	}
	return rows;
}

function monthGroup(months, days, i, now, choose) {
	const c = months.columns;
	const name = monthName(c.t[i]);
	const body = make("tbody", {});
	const button = make("button", {type: "button", "aria-expanded": "false", onclick() {
		const open = button.getAttribute("aria-expanded") === "true";
		button.setAttribute("aria-expanded", String(!open));
		while (body.children.length > 1)
			body.lastChild.remove();
		if (!open)
			body.append(...dayRows(days, {t: c.t[i], t_end: c.t_end[i]}, now, choose));
	}}, name);
	body.append(make("tr", {class: "month"}, make("th", {scope: "row"}, button), ...cells(months, i, now)));
	return body;
}

function totalRow(months, now) {
	const t = months.total;
	const lines = {columns: Object.fromEntries(Object.entries(t).map(([k, v]) => [k, [v]])),
		modes: Object.fromEntries(SPLIT.map((mode) => [mode,
			{heat_kwh: [sum(months.modes?.[mode]?.heat_kwh)]}]))};
	return make("tfoot", {}, make("tr", {}, make("th", {scope: "row"}, "All of it"), ...cells(lines, 0, now)));
}

function sum(values) {
	const known = (values ?? []).filter((v) => v !== null);
	return known.length ? known.reduce((a, b) => a + b, 0) : null;
}

export function drawLedger(where, months, days, now, choose) {
	const head = ["Period", "Heat given, kWh", "Electricity taken, kWh", "Heat for one of electricity",
		"Known for", ...SPLIT.map((m) => `${modeName(m)}, kWh of heat`), "Remarks"];
	const classes = ["", "heat", "electricity", "ratio", "known", "split", "split", "split", "remarks"];
	where.replaceChildren(make("table", {class: "ledger"},
		make("caption", {class: "unseen"}, "Heat, electricity and efficiency by month"),
		make("thead", {}, make("tr", {}, ...head.map((h, i) => make("th", {scope: "col", class: classes[i] || null}, h)))),
		...months.columns.t.map((_, i) => monthGroup(months, days, i, now, choose)),
		totalRow(months, now)));
}

/* The boundaries of the field (H1 to H4, after the SEPEMO project's SPF definitions). */
const BOUNDARIES = {
	H1: "the heat pump without the fan or pump of its source",
	H2: "the heat pump with the fan or pump of its source",
	H3: "the heat pump and its back-up and immersion heaters",
	H4: "the heat pump, its back-up and immersion heaters and the pumps that take the heat into the house",
};

function boundaryWords(answer) {
	if (!answer.boundary)
		return "No meter of electricity is configured: heat alone is told.";
	const [base, ...more] = answer.boundary.split("+");
	return `Counted at boundary ${answer.boundary}: ${BOUNDARIES[base] ?? base}${
		more.length ? `, with ${more.map((m) => m.replaceAll("_", " ")).join(" and ")}` : ""}.`;
}

function limitWords(limits) {
	const said = [`temperature pair ±${number(limits.pair_k, 2)} K`
		+ (limits.pair_percent ? ` and ${number(limits.pair_percent, 1)} %` : "")];
	if (limits.flow_percent !== undefined && limits.flow_percent !== null)
		said.push(`flow ±${number(limits.flow_percent, 1)} %`);
	for (const [meter, p] of Object.entries(limits.meters_percent ?? {}))
		said.push(`meter ${meter} ±${number(p, 1)} %`);
	return said.join(", ");
}

function change(c) {
	const said = [];
	if (c.factor !== 1)
		said.push(`times ${number(c.factor, 3)}`);
	if (c.offset !== 0)
		said.push(`${c.offset > 0 ? "plus" : "minus"} ${number(Math.abs(c.offset), 2)} ${c.offset_unit === "Cel" ? "K" : c.offset_unit}`);
	return said.join(", ") || "as it came";
}

/* What the figures rest on, as sentences. */
export function drawNotes(where, answer) {
	const said = [boundaryWords(answer)];
	const u = answer.uncertainty;
	if (u?.cop !== null && u?.cop !== undefined)
		said.push(`Behind ± stands the expanded uncertainty (k = ${u.coverage_factor}) of the instruments: ${
			limitWords(u.limits)}; most of it is the ${u.largest_term}'s.`);
	if (answer.fluid && answer.fluid.name !== "water")
		said.push(`The circuit holds ${answer.fluid.name.replaceAll("_", " ")}, ${number(answer.fluid.volume_percent, 0)} % by volume.`);
	for (const c of answer.corrections ?? [])
		said.push(`Corrected from ${instant(c.from)}${c.to === null ? " on" : ` to ${instant(c.to)}`}: ${c.channel}, ${change(c)} (${c.name}).`);
	for (const e of answer.estimated ?? [])
		said.push(`Estimated${e.counted ? "" : ", and not in the sums"}: ${e.quantity.replaceAll("_", " ")}${
			e.meter ? ` of meter ${e.meter}` : ""}, ${e.why}.`);
	if (answer.older_mapping_days > 0)
		said.push(`${answer.older_mapping_days} days were made by an earlier configuration; heatbookd rebuild makes them anew.`);
	if (answer.note)
		said.push(answer.note);
	where.replaceChildren(...said.map((s) => make("li", {}, s)));
}

export function modesPresent(answer) {
	return MODES.filter(([m]) => answer.modes?.[m]).map(([m]) => m);
}
