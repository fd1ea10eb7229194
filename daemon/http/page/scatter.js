/* Each day's efficiency at its outdoor temperature: the chosen span's days set off from the
 * rest, each reached by key in order of its date. */
import {make, place, table} from "./table.js";
import {dateOf, dayName, energy, number, percent, ratio} from "./words.js";

const W = 720, H = 360, LEFT = 48, RIGHT = 12, TOP = 12, BOTTOM = 40;

/* Steps of 1, 2 or 5 with about so many of them between two values. */
export function steps(low, high, about) {
	const raw = Math.max((high - low) / about, 1e-9), power = 10 ** Math.floor(Math.log10(raw));
	const step = [1, 2, 5, 10].map((m) => m * power).find((s) => s >= raw);
	const out = [];
	for (let v = Math.ceil(low / step) * step; v <= high + step / 1e6; v += step)
		out.push(Math.round(v / step) * step);
	return out;
}

function points(days, outdoor, inSpan) {
	const c = days.columns, out = [];
	const at = new Map(outdoor.t.map((t, i) => [t, outdoor.values[i]]));
	for (let i = 0; i < c.t.length; i++) {
		const x = at.get(c.t[i]);
		if (c.cop[i] === null || x === null || x === undefined)
			continue;
		out.push({t: c.t[i], x, y: c.cop[i], half: c.cop_uncertainty[i], heat: c.heat_kwh[i],
			known: c.paired_s[i] / (c.t_end[i] - c.t[i]), inside: inSpan(c.t[i])});
	}
	return out;
}

function axes(svg, xs, ys, px, py) {
	for (const x of steps(xs[0], xs[1], 8))
		svg.append(make("svg:line", {class: "grid", x1: px(x), x2: px(x), y1: TOP, y2: H - BOTTOM}),
			make("svg:text", {class: "tick", x: px(x), y: H - BOTTOM + 16, "text-anchor": "middle"},
				number(x, 0)));
	for (const y of steps(ys[0], ys[1], 6))
		svg.append(make("svg:line", {class: "grid", x1: LEFT, x2: W - RIGHT, y1: py(y), y2: py(y)}),
			make("svg:text", {class: "tick", x: LEFT - 6, y: py(y) + 4, "text-anchor": "end"},
				number(y, 1)));
	svg.append(make("svg:text", {class: "axis", x: (LEFT + W - RIGHT) / 2, y: H - 6, "text-anchor": "middle"},
		"outdoor temperature, °C"));
}

function mark(p, x, y) {
	if (p.known < 0.5)
		return make("svg:path", {class: `mark cross${p.inside ? " inside" : ""}`,
			d: `M${x - 4} ${y - 4}l8 8m0 -8l-8 8`});
	return make("svg:circle", {class: `mark${p.inside ? " inside" : ""}`, cx: x, cy: y, r: p.inside ? 4.5 : 3});
}

function describe(p) {
	return `${dayName(p.t)}: ${ratio(p.y, p.half)} at ${number(p.x, 1)} °C, ${energy(p.heat)} kWh of heat, known for ${
		percent(p.known)}`;
}

export function drawScatter(where, days, outdoor, inSpan, chosen, choose) {
	const all = points(days, outdoor, inSpan);
	if (!all.length) {
		where.replaceChildren(make("p", {}, "No day has both an efficiency and an outdoor temperature yet."));
		return;
	}
	const xs = [Math.min(...all.map((p) => p.x)) - 1, Math.max(...all.map((p) => p.x)) + 1];
	const ys = [0, Math.max(...all.map((p) => p.y)) * 1.05];
	const px = (x) => LEFT + (x - xs[0]) / (xs[1] - xs[0]) * (W - LEFT - RIGHT);
	const py = (y) => H - BOTTOM - (y - ys[0]) / (ys[1] - ys[0]) * (H - TOP - BOTTOM);
	const line = make("p", {class: "reading", "aria-live": "polite"},
		"Arrow keys go from day to day, Enter opens the day below.");
	const svg = make("svg:svg", {viewBox: `0 0 ${W} ${H}`, role: "application", tabindex: "0",
		"aria-label": `Efficiency of ${all.length} days by outdoor temperature`});
	axes(svg, xs, ys, px, py);
	const drawn = [...all].sort((a, b) => a.inside - b.inside);
	for (const p of drawn) {
		const m = mark(p, px(p.x), py(p.y));
		m.append(make("svg:title", {}, describe(p)));
		m.addEventListener("click", () => choose(dateOf(p.t)));
		svg.append(m);
	}
	const ring = make("svg:circle", {class: "ring", r: 9, visibility: "hidden"});
	svg.append(ring);
	let at = all.findIndex((p) => dateOf(p.t) === chosen);
	function point(i) {
		at = Math.max(0, Math.min(all.length - 1, i));
		ring.setAttribute("cx", px(all[at].x));
		ring.setAttribute("cy", py(all[at].y));
		ring.setAttribute("visibility", "visible");
		line.textContent = describe(all[at]);
	}
	if (at >= 0)
		point(at);
	svg.addEventListener("keydown", (e) => {
		const by = {ArrowRight: 1, ArrowLeft: -1, PageUp: -7, PageDown: 7, Home: -all.length, End: all.length}[e.key];
		if (by !== undefined) {
			e.preventDefault();
			point(at + by);
		}
		if (e.key === "Enter" && at >= 0)
			choose(dateOf(all[at].t));
	});
	place(where, make("div", {}, svg, line), () => table("Efficiency and weather by day",
		["Day", "Outdoor, °C", "Heat for one of electricity", "Known for"],
		all.map((p) => [dayName(p.t), number(p.x, 1), ratio(p.y, p.half), percent(p.known)])));
}
