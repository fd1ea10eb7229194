/* Runs of the compressor, defrosts and hot-water runs of a span of days, with their sums. */
import {ask} from "./ask.js";
import {keepFocus, make, pairs, table} from "./table.js";
import {absent, addDays, clockOfDay, dateOf, dayOf, dayOfMonth, duration, energy, modeName, number, percent, ratio, startOf, sum} from "./words.js";

export const EVENTS = [["runs", "compressor runs"], ["defrosts", "defrosts"], ["hot-water", "hot-water runs"],
	["immersion", "immersion heaters"], ["freeze-protection", "freeze protection"]];
export const SPANS = [["day", "the day", 0], ["week", "the week up to it", 6], ["month", "the month up to it", 30]];
/* The answer to the resource over so many days that end with `date`. */
export function loadEvents(resource, date, days, boundary) {
	return ask(resource, {from: startOf(addDays(date, -days)), to: startOf(addDays(date, 1)), boundary: resource === "immersion" ? null : boundary});
}

const ENDED = {target: "reached its target", hot_water: "hot water took over", defrost: "ended in a defrost", gap: "then nothing is known"};
const CUTS = {begin: "its beginning was not seen", end: "its end was not seen", both: "neither its beginning nor its end was seen"};

function about(c, i) {
	const said = [];
	if (c.source?.[i] === "rule")
		said.push("told by a rule");
	if (CUTS[c.truncated?.[i]])
		said.push(CUTS[c.truncated[i]]);
	if (c.short?.[i] === "yes")
		said.push("short");
	if (c.planned?.[i])
		said.push(c.planned[i]);
	if (ENDED[c.ended?.[i]])
		said.push(ENDED[c.ended[i]]);
	if (c.cop && c.cop[i] === null && c.no_cop_because?.[i])
		said.push(`no quotient: ${c.no_cop_because[i]}`);
	return said.join("; ");
}

/* One row an event; its button moves the lanes to it. */
function eventTable(name, answer, show) {
	const c = answer.columns, quotient = Boolean(c.cop), outside = Boolean(c.outdoor_c), heat = Boolean(c.heat_kwh);
	const head = ["Began", "Lasted", make("span", {class: "words"}, "Kind"), ...(heat ? ["Heat, kWh"] : []), "Electricity, kWh", ...(quotient ? ["Heat for one of electricity"] : []),
		...(outside ? ["Outside, °C"] : []), make("span", {class: "words"}, "Remarks")];
	return table(name, head, c.t.map((t, i) => {
		const words = `${dayOfMonth(t)}, ${clockOfDay(t, dayOf(dateOf(t)))}`;
		return [make("button", {type: "button", class: "link", "data-key": `event ${t}`, onclick: () => show(t)}, words),
			duration(c.t_end[i] - t), make("span", {class: "words"}, c.meter?.[i] ?? modeName(c.kind[i])), ...(heat ? [energy2(c.heat_kwh[i])] : []), energy2(c.electricity_kwh?.[i]),
			...(quotient ? [ratio(c.cop[i], c.cop_uncertainty?.[i])] : []), ...(outside ? [number(c.outdoor_c[i], 1)] : []),
			make("span", {class: "remarks"}, about(c, i))];
	}));
}

/* Events are small: two places. */
function energy2(kwh) {
	return number(kwh, 2);
}

function sums(answer, days) {
	const t = answer.total, said = [["how many", days > 0 ? `${t.count}, ${number(t.count / (days + 1), 1)} a day` : String(t.count)],
		["in all", duration(t.running_s)]];
	if (!absent(t.mean_running_s))
		said.push(["one on average", duration(t.mean_running_s)]);
	if (t.heat_kwh !== undefined)
		said.push(["heat", `${energy(t.heat_kwh)} kWh`, "heat"]);
	if (t.short !== undefined)
		said.push(["short ones", String(t.short)]);
	said.push(["electricity", `${energy(t.electricity_kwh)} kWh`, "electricity"]);
	if (t.cop !== undefined)
		said.push(["heat for one of electricity", t.cop === null ? "–" : ratio(t.cop, t.cop_uncertainty)]);
	return pairs(said);
}

function byOutdoor(answer) {
	const o = answer.by_outdoor;
	if (!o || o.count.length < 2)
		return null;
	const all = sum(o.count), quotient = Boolean(o.cop), heat = Boolean(o.heat_kwh);
	return make("details", {}, make("summary", {}, "By outdoor temperature"), make("div", {class: "wide", tabindex: "0",
		role: "group", "aria-label": "By outdoor temperature"}, table("Means of the events' own minutes, by three kelvins",
		["Outside, °C", "How many", "Of all", "One on average", ...(heat ? ["Heat, kWh"] : []), "Electricity, kWh", ...(quotient ? ["Heat for one of electricity"] : [])],
		o.count.map((n, i) => [o.outdoor_from_c[i] === null ? "not known" : `${number(o.outdoor_from_c[i], 0)} to ${number(o.outdoor_to_c[i], 0)}`,
			String(n), percent(n / all), o.mean_running_s[i] === null ? "–" : duration(o.mean_running_s[i]), ...(heat ? [energy(o.heat_kwh[i])] : []),
			energy(o.electricity_kwh[i]), ...(quotient ? [ratio(o.cop[i], o.cop_uncertainty?.[i])] : [])]))));
}

/* answer: of loadEvents(); events, of: the chosen ones of EVENTS and SPANS. */
export async function drawRuns(where, choices, answer, events, of, choose, show) {
	const pressed = (value, key, name, held) => make("button", {type: "button", "aria-pressed": String(value === held),
		"data-key": `${key} ${value}`, onclick: () => choose({[key]: value})}, name);
	const [resource, name] = events, [span, , days] = of;
	await keepFocus(() => {
		choices.replaceChildren(make("span", {class: "choices"}, ...EVENTS.map(([e, words]) => pressed(e, "events", words, resource))),
			make("span", {class: "choices"}, ...SPANS.map(([s, words]) => pressed(s, "of", words, span))));
		if (!answer.count) {
			where.replaceChildren(make("p", {class: "empty"}, `No ${name} in this time, as far as it is known.`));
			return;
		}
		where.replaceChildren(...[sums(answer, days), make("div", {class: "wide tall", tabindex: "0", role: "group", "aria-label": name},
			eventTable(name, answer, show)), byOutdoor(answer)].filter(Boolean));
	});
}
