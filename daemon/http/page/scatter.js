/* Each day's efficiency at its outdoor temperature: the chosen span's days set off from the
 * rest, each reached by key in order of its date. */
import {axes, pointer, RIGHT, scales, sizeOf, words} from "./frame.js";
import {make, place, table} from "./table.js";
import {walk} from "./walk.js";
import {absent, dateOf, dayName, energy, number, percent, ratio} from "./words.js";

function points(days, outdoor, inSpan) {
	const c = days.columns, out = [];
	const at = new Map(outdoor.t.map((t, i) => [t, outdoor.values[i]]));
	for (let i = 0; i < c.t.length; i++) {
		const x = at.get(c.t[i]);
		if (absent(c.cop[i]) || absent(x))
			continue;
		out.push({t: c.t[i], x, y: c.cop[i], half: c.cop_uncertainty[i], heat: c.heat_kwh[i],
			known: c.paired_s[i] / (c.t_end[i] - c.t[i]), inside: inSpan(c.t[i])});
	}
	return out;
}

function frameOf(all, where) {
	const [width, height] = sizeOf(where);
	const low = Math.min(...all.map((p) => p.y)), high = Math.max(...all.map((p) => p.y));
	return scales(width, height, [Math.min(...all.map((p) => p.x)) - 1, Math.max(...all.map((p) => p.x)) + 1],
		[Math.min(0.8, Math.floor(low * 2) / 2), Math.max(high * 1.04, 1.5)]);
}

function mark(p, x, y) {
	const inside = p.inside ? " inside" : "";
	if (p.known < 0.5)
		return make("svg:path", {class: `mark cross${inside}`, d: `M${x - 4} ${y - 4}l8 8m0 -8l-8 8`});
	return make("svg:circle", {class: `mark${inside}`, cx: x, cy: y, r: p.inside ? 4 : 3});
}

function describe(p) {
	return `${dayName(p.t)}: ${ratio(p.y, p.half)} at ${number(p.x, 1)} °C outside, ${energy(p.heat)} kWh of heat, known for ${
		percent(p.known)}`;
}

export function drawScatter(where, days, outdoor, inSpan, chosen, choose) {
	const all = points(days, outdoor, inSpan);
	if (!all.length) {
		where.replaceChildren(make("p", {class: "empty"}, "No day has both a quotient and an outdoor temperature yet."));
		return;
	}
	const s = frameOf(all, where), {width, height} = s;
	const line = make("p", {class: "reading"}, "A day is told here: by pointing, or by arrow keys; Enter looks into it.");
	const svg = make("svg:svg", {class: "scatter", width, height, viewBox: `0 0 ${width} ${height}`});
	const [ring, toDay] = pointer(s);
	axes(svg, s, {below: "outdoor temperature, mean of the day, °C", decimals: 1, strong: 1});
	if (s.ys[0] <= 1)
		svg.append(words(width - RIGHT, s.py(1) - 5, "end", "1: as much heat as electricity, no more"));
	let go = null;
	for (const p of [...all].sort((a, b) => a.inside - b.inside)) {
		const m = mark(p, s.px(p.x), s.py(p.y));
		m.addEventListener("pointerenter", () => go(all.indexOf(p)));
		m.addEventListener("click", () => choose(dateOf(p.t)));
		svg.append(m);
	}
	svg.append(ring);
	go = walk(svg, line, all, all.findIndex((p) => dateOf(p.t) === chosen), {
		name: `Efficiency of ${all.length} days by outdoor temperature`, key: "scatter", words: describe,
		mark: toDay, choose: (p) => choose(dateOf(p.t))});
	place(where, "Weather and efficiency", make("div", {}, svg, line), () => table("Efficiency and weather by day",
		["Day", "Outside, °C", "Heat for one of electricity", "Heat, kWh", "Known for", "In the span"],
		all.map((p) => [dayName(p.t), number(p.x, 1), ratio(p.y, p.half), energy(p.heat), percent(p.known), p.inside ? "yes" : "no"])));
}
