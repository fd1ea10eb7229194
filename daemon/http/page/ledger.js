/* What was given and taken, a line a period, which opens into shorter ones, and the sum. */
import {keepFocus, make} from "./table.js";
import {absent, dateOf, dayName, dayOfMonth, energy, modeName, monthName, monthShort, number, percent, sum, yearName} from "./words.js";

export const SPLIT = ["heating", "hot_water", "defrost"];
const INTO = {P1Y: "P1M", P1M: "P1D"};
const NAMES = {P1Y: yearName, P1M: monthName, P1D: dayOfMonth};
const SHORT = {...NAMES, P1M: monthShort}; /* where the screen is narrow */

function share(c, i, now) {
	const end = Math.min(c.t_end[i], now);
	return end > c.t[i] ? c.paired_s[i] / (end - c.t[i]) : 0;
}

/* A bar beside its words: its whole width is the period. */
function knownCell(value) {
	return make("td", {class: "known"}, percent(value),
		make("span", {class: "bar", "aria-hidden": "true", style: `--share: ${value.toFixed(4)}`}));
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

function ratioCell(value, half) {
	if (absent(value))
		return make("td", {class: "ratio"}, "–");
	return make("td", {class: "ratio"}, number(value, 2),
		absent(half) ? null : make("span", {class: "half"}, ` ± ${number(half, 2)}`));
}

function cells(answer, i, now) {
	const c = answer.columns;
	return [
		make("td", {class: "heat"}, energy(c.heat_kwh[i])),
		make("td", {class: "electricity"}, energy(c.electricity_kwh[i])),
		ratioCell(c.cop[i], c.cop_uncertainty[i]),
		knownCell(share(c, i, now)),
		...SPLIT.map((mode) => make("td", {class: "split"}, energy(answer.modes?.[mode]?.heat_kwh[i]))),
		make("td", {class: "remarks"}, remarks(c, i, now)),
	];
}

/* Where the screen is narrow: what the line has no room for. */
function moreRow(answer, i, now, always) {
	const c = answer.columns, part = share(c, i, now), said = [`known for ${percent(part)}`];
	for (const mode of SPLIT)
		if (answer.modes?.[mode]?.heat_kwh[i])
			said.push(`${modeName(mode)} ${energy(answer.modes[mode].heat_kwh[i])} kWh of heat`);
	const more = remarks(c, i, now);
	if (more)
		said.push(more);
	if (!always && part >= 0.9995 && !more)
		return [];
	return [make("tr", {class: "more"}, make("td", {colspan: 4}, said.join("; ")))];
}

/* A period that the span cuts says from or until when. */
function periodName(step, c, i) {
	const name = [make("span", {class: "broad"}, NAMES[step](c.t[i])),
		make("span", {class: "slim"}, SHORT[step](c.t[i]))];
	if (step === "P1D")
		return name;
	const first = dateOf(c.t[i]), last = dateOf(c.t_end[i] - 1);
	const cut = step === "P1M" ? first.slice(8) !== "01" : first.slice(5) !== "01-01";
	const next = dateOf(c.t_end[i]);
	const early = step === "P1M" ? next.slice(8) !== "01" : next.slice(5) !== "01-01";
	const day = (date) => step === "P1M" ? String(+date.slice(8)) : date.slice(5);
	if (cut || early)
		name.push(first === last ? `, ${day(first)}` : `, ${day(first)}–${day(last)}`);
	return name;
}

/* The lines of an answer and of what is open below them. */
async function lines(ledger, step, answer, depth) {
	const c = answer.columns, rows = [];
	for (let i = 0; i < c.t.length; i++) {
		if (c.t[i] >= ledger.now)
			continue;
		const key = `${step} ${c.t[i]}`, into = INTO[step], open = into && ledger.open.has(key);
		const name = periodName(step, c, i);
		const button = make("button", into
			? {type: "button", "data-key": key, "aria-expanded": String(Boolean(open)), onclick: () => turn(ledger, key)}
			: {type: "button", "data-key": key, "aria-label": `${dayName(c.t[i])}: look into it`,
				onclick: () => ledger.choose(dateOf(c.t[i]))}, ...name);
		rows.push(make("tr", {class: `${into ? "month" : "day"} depth${depth}`},
			make("th", {scope: "row"}, button), ...cells(answer, i, ledger.now)),
			...(into && !open && !c.no_cop_because[i] ? [] : moreRow(answer, i, ledger.now, open)));
		if (open)
			rows.push(...await lines(ledger, into, await ledger.load(into, c.t[i], c.t_end[i]), depth + 1));
	}
	return rows;
}

async function turn(ledger, key) {
	if (!ledger.open.delete(key))
		ledger.open.add(key);
	await drawLedger(ledger);
}

function totalRows(answer, now) {
	const lone = {columns: Object.fromEntries(Object.entries(answer.total).map(([k, v]) => [k, [v]])),
		modes: Object.fromEntries(SPLIT.map((mode) => [mode, {heat_kwh: [sum(answer.modes?.[mode]?.heat_kwh ?? [])]}]))};
	return make("tfoot", {}, make("tr", {}, make("th", {scope: "row"}, "Sum"), ...cells(lone, 0, now)),
		...moreRow(lone, 0, now, true));
}

function head() {
	const col = (name, unit, kind) => make("th", {scope: "col", rowspan: 2, class: kind}, name,
		unit ? make("span", {class: "unit"}, unit) : null);
	return make("thead", {}, make("tr", {}, col("Period", null, null), col("Heat given", "kWh", "heat"),
		col("Electricity taken", "kWh", "electricity"), col("Heat for one of electricity", null, "ratio"), col("Known for", null, "known"),
		make("th", {scope: "colgroup", colspan: SPLIT.length, class: "split group"}, "of the heat, kWh"),
		col("Remarks", null, "remarks")),
	make("tr", {class: "split"}, ...SPLIT.map((m) => make("th", {scope: "col", class: "split"}, modeName(m)))));
}

/* ledger: where, step, answer (by mode), now (s), open: a set of lines, load(step, from, to),
 * choose(date). */
export async function drawLedger(ledger) {
	await keepFocus(async () => {
		const rows = await lines(ledger, ledger.step, ledger.answer, 0);
		ledger.where.replaceChildren(rows.length ? make("table", {class: "ledger"},
			make("caption", {class: "unseen"}, "Heat, electricity and efficiency by period"),
			head(), make("tbody", {}, ...rows), totalRows(ledger.answer, ledger.now))
			: make("p", {class: "empty"}, "Nothing is booked in this span."));
	});
}
