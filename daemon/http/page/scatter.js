/* Each day's efficiency at its outdoor temperature: the chosen span's days set off from the
 * rest, each reached by key in order of its date. */
import {make, place, table} from "./table.js";
import {walk} from "./walk.js";
import {absent, dateOf, dayName, energy, number, percent, ratio} from "./words.js";

const LEFT = 40, RIGHT = 14, TOP = 14, BOTTOM = 44;

/* Steps of 1, 2 or 5 with about so many of them between two values. */
function steps(low, high, about) {
	const raw = Math.max((high - low) / about, 1e-9), power = 10 ** Math.floor(Math.log10(raw));
	const step = [1, 2, 5, 10].map((m) => m * power).find((s) => s >= raw);
	const out = [];
	for (let v = Math.ceil(low / step - 1e-9) * step; v <= high + step / 1e6; v += step)
		out.push(Math.round(v / step) * step);
	return out;
}

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

function scales(all, width, height) {
	const xs = [Math.min(...all.map((p) => p.x)) - 1, Math.max(...all.map((p) => p.x)) + 1];
	const low = Math.min(...all.map((p) => p.y)), high = Math.max(...all.map((p) => p.y));
	const ys = [Math.min(0.8, Math.floor(low * 2) / 2), Math.max(high * 1.04, 1.5)];
	return {width, height, xs, ys, px: (x) => LEFT + (x - xs[0]) / (xs[1] - xs[0]) * (width - LEFT - RIGHT),
		py: (y) => height - BOTTOM - (y - ys[0]) / (ys[1] - ys[0]) * (height - TOP - BOTTOM)};
}

function axes(svg, {width, height, xs, ys, px, py}) {
	const text = (x, y, anchor, words, kind = "tick") => make("svg:text", {class: kind, x, y, "text-anchor": anchor}, words);
	for (const x of steps(xs[0], xs[1], width < 480 ? 5 : 9))
		svg.append(make("svg:line", {class: "grid", x1: px(x), x2: px(x), y1: TOP, y2: height - BOTTOM}),
			text(px(x), height - BOTTOM + 17, "middle", number(x, 0)));
	for (const y of steps(ys[0], ys[1], 6))
		svg.append(make("svg:line", {class: y === 1 ? "grid one" : "grid", x1: LEFT, x2: width - RIGHT, y1: py(y), y2: py(y)}),
			text(LEFT - 7, py(y) + 4, "end", number(y, 1)));
	if (ys[0] <= 1)
		svg.append(text(width - RIGHT, py(1) - 5, "end", "1: as much heat as electricity, no more"));
	svg.append(text((LEFT + width - RIGHT) / 2, height - 6, "middle", "outdoor temperature, mean of the day, °C", "axis"));
}

function mark(p, x, y) {
	const inside = p.inside ? " inside" : "";
	if (p.known < 0.5)
		return make("svg:path", {class: `mark cross${inside}`, d: `M${x - 4} ${y - 4}l8 8m0 -8l-8 8`});
	return make("svg:circle", {class: `mark${inside}`, cx: x, cy: y, r: p.inside ? 4 : 3});
}

/* The chosen day: a ring, and how far its figure may lie off. */
function pointer() {
	const ring = make("svg:circle", {r: 9}), reach = make("svg:path", {});
	const g = make("svg:g", {class: "ring", visibility: "hidden"}, reach, ring);
	return [g, (p, {px, py, height}) => {
		const x = px(p.x), half = p.half ?? 0;
		const top = Math.max(py(p.y + half), 1), end = Math.min(py(p.y - half), height - BOTTOM);
		ring.setAttribute("cx", x);
		ring.setAttribute("cy", py(p.y));
		reach.setAttribute("d", `M${x} ${top}V${end}m-4 0h8M${x - 4} ${top}h8`);
		g.setAttribute("visibility", "visible");
	}];
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
	const width = Math.max(260, where.clientWidth), height = Math.round(Math.max(260, Math.min(400, width * 0.45)));
	const s = scales(all, width, height);
	const line = make("p", {class: "reading"}, "A day is told here: by pointing, or by arrow keys; Enter looks into it.");
	const svg = make("svg:svg", {class: "scatter", width, height, viewBox: `0 0 ${width} ${height}`});
	const [ring, toDay] = pointer();
	axes(svg, s);
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
		mark: (p) => toDay(p, s), choose: (p) => choose(dateOf(p.t))});
	place(where, "Weather and efficiency", make("div", {}, svg, line), () => table("Efficiency and weather by day",
		["Day", "Outside, °C", "Heat for one of electricity", "Heat, kWh", "Known for", "In the span"],
		all.map((p) => [dayName(p.t), number(p.x, 1), ratio(p.y, p.half), energy(p.heat), percent(p.known), p.inside ? "yes" : "no"])));
}
