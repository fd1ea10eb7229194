/* What stands behind the numbers: the house, the unit, what was changed, what it cost. Each part is
 * asked when it comes near the eye, and again when the span is another. */
import {ask, Refused} from "./ask.js";
import {evidence, missing, pointName, tell, values} from "./answer.js";
import {conditionTables} from "./conditions.js";
import {drawCircuit} from "./circuit.js";
import {drawCourse} from "./course.js";
import {drawHouse} from "./house.js";
import {drawMoney} from "./money.js";
import {make, table} from "./table.js";
import {absent, dayLong, dayName, energy, number, percent, plain} from "./words.js";

const NEAR = "400px", AGAIN_MS = 5000;

function figure() {
	return make("div", {class: "figure"});
}

function house(where, answer, choose) {
	const place = figure();
	tell(where, "What the house takes", answer, place);
	drawHouse(place, answer, choose);
}

/* What a season rests on stands beside it: where the cold is missing, it is too good. */
function conditions(where, answer) {
	const held = answer.evidence.climate_heat_share;
	tell(where, "Efficiency by weather and water", answer, answer.answer?.season_by_own_bins ? make("p", {class: "lead"},
		`The reference season is of the ${answer.evidence.climate} climate of EN 14825, of whose heat own bins hold ${percent(held)}; the rest is in no figure.`) : null,
	...conditionTables(answer));
}

const VERDICTS = {less: "It takes less since.", more: "It takes more since.", "no change can be shown": "No change can be shown: the interval holds 0.",
	"not enough evidence": "There is not enough evidence to tell."};

const TAKES = {less: "takes less", more: "takes more"};

/* The verdict in all; and by efficiency alone, where that is another. */
function verdict(evidence) {
	const takes = TAKES[evidence.verdict_by_efficiency], other = takes && evidence.verdict_by_efficiency !== evidence.verdict;
	return `${VERDICTS[evidence.verdict]}${other ? ` For the same heat it ${takes}.` : ""}`;
}

/* Measured less expected, summed up day by day: level while all is as it was, falling while less
 * is taken. */
function course(where, change, choose) {
	const c = change.measured_less_predicted.columns, what = c.electricity_sum_kwh.some((v) => v !== null) ? "electricity" : "heat";
	const all = c.t.map((t, i) => ({t, y: c[`${what}_sum_kwh`][i], day: c[`${what}_kwh`][i], side: c.after[i] === 1 ? "after" : "before"}))
		.filter((p) => !absent(p.y));
	if (all.length > 1)
		drawCourse(where, {name: `${what} measured less expected`, key: `course ${change.name}`, all, noted: [change.at], from: 0,
			upward: "measured less expected, summed up, kWh", words: (p) => `${dayName(p.t)}, ${p.side}: ${energy(p.day)} kWh that day, ${energy(p.y)} kWh in all`,
			head: ["Day", "Side", "That day, kWh", "In all, kWh"], row: (p) => [dayName(p.t), p.side, energy(p.day), energy(p.y)]}, choose);
}

function changes(where, answer, choose) {
	where.replaceChildren(...[missing(answer.missing)].filter(Boolean));
	for (const c of answer.changes) {
		const place = figure(), name = c.what ?? plain(c.name);
		where.append(make("article", {}, ...[make("h4", {}, `${name}, ${dayLong(c.at)}`), make("p", {}, verdict(c.evidence)),
			c.answer ? values(c.answer) : null, missing(c.missing), place, evidence(name, c.evidence)].filter(Boolean)));
		course(place, c, choose);
	}
}

function lowering(where, answer) {
	const r = answer.columns ? answer.columns.by_k.map((_, i) => Object.fromEntries(Object.entries(answer.columns).map(([k, v]) => [k, v[i]]))) : answer.rows ?? [];
	const between = (value, low, high, d) => absent(value) ? "–" : make("span", {}, number(value, d), absent(low) ? null
		: make("span", {class: "half"}, ` ${number(low, d)} to ${number(high, d)}`));
	tell(where, "Cooler water", answer, r.length ? make("div", {class: "wide", tabindex: "0", role: "group", "aria-label": "Cooler water"},
		table("If the water to the rooms were cooler than it was", ["Cooler by, K", "Electricity less, kWh", "That is, %", "Days short of heat", "Coldest of the others, °C"],
			r.map((x) => [number(x.by_k, 0), between(x.saving_kwh, x.saving_kwh_low, x.saving_kwh_high, 0), between(x.saving_percent, x.saving_percent_low,
				x.saving_percent_high, 1), between(x.days_short, x.days_short_low, x.days_short_high, 0), number(x.coldest_served_c, 1)]))) : null);
}

function declared(where, answer) {
	const c = answer.columns, share = (v) => absent(v) ? "–" : number(100 * v, 0);
	tell(where, "Beside what was declared", answer, c?.point.length ? make("div", {class: "wide", tabindex: "0", role: "group", "aria-label": "Beside what was declared"},
		table("Steady heating near each declared point", ["Point", "Windows", "Minutes", "Heat for one of electricity", "Declared there", "Of it, %", "Load, % of the capacity"],
			c.point.map((p, i) => [pointName(p), number(c.windows[i], 0), number(c.minutes[i], 0), number(c.cop[i], 2), number(c.declared_cop[i], 2),
				absent(c.ratio[i]) ? "–" : `${share(c.ratio[i])} ± ${share(c.ratio_uncertainty[i])}`, share(c.load_share[i])]))) : null);
}

function circuit(where, answer, choose) {
	const places = [figure(), figure()];
	tell(where, "The circuit", answer, ...places);
	drawCircuit(places, answer, choose);
}

/* What each part asks: by the chosen span, or by the year around it, as a house is known by a
 * year. */
const PARTS = [
	["signature", "What the house takes", "A mark a day: heat for the rooms by how cold it was, and the line through the days.", "year", {points: "yes"}, house],
	["efficiency-map", "Efficiency by weather and water", "How much heat one of electricity gave, by how cold it was outside and how warm the water.", "year", {}, conditions],
	["declared", "Beside what was declared", "Steady heating near the points that the unit's maker declares (EN 14511), in the house as it is.", "year", {}, declared],
	["changes", "What was changed", "What was measured since a noted change, less what the days before it let expect in the same weather.", null, {}, changes],
	["flow-temperature", "Cooler water", "What a lower flow temperature would have saved, and whether the rooms would still have got their heat.", "year", {}, lowering],
	["cost", "What it cost", "Each minute's electricity at that minute's price.", "span", {step: "P1M"}, (where, answer) => drawMoney(where, answer)],
	["circuit", "The circuit", "Flow and pressure over time, and when the cylinder was last at 60 °C.", "year", {}, circuit],
];

function prepare(where) {
	where.replaceChildren(...PARTS.map(([resource, title, lead]) =>
		make("article", {class: "behind-part", "data-resource": resource}, make("h3", {}, title), make("p", {class: "lead"}, lead),
			make("div", {class: "told"}, make("p", {class: "empty"}, "It is asked when it is looked at.")))));
}

/* spans: {span, year}, each of from and to; boundary; choose(date). */
export function drawBehind(where, {spans, boundary, choose, failed}) {
	if (!where.firstChild)
		prepare(where);
	const watch = new IntersectionObserver((entries) => entries.filter((e) => e.isIntersecting).forEach((e) => {
		watch.unobserve(e.target);
		const [resource, , , of, more, draw] = PARTS.find(([r]) => r === e.target.dataset.resource), told = e.target.querySelector(".told");
		ask(resource, {...of ? spans[of] : {}, ...more, boundary: resource === "cost" ? boundary : null}).then((answer) => draw(told, answer, choose)).catch((error) => {
			if (!(error instanceof Refused) || error.status === 401)
				return failed(error);
			const later = error.status >= 500;
			told.replaceChildren(make("p", {class: "empty"}, `${error.message}.${later ? " It is asked again while it is looked at." : ""}`));
			if (later)
				setTimeout(() => where.watch === watch && watch.observe(e.target), AGAIN_MS);
		});
	}), {rootMargin: NEAR});
	where.watch?.disconnect();
	where.watch = watch;
	where.querySelectorAll(".behind-part").forEach((part) => watch.observe(part));
}
