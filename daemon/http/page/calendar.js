/* How much of each day is known: months below each other, their days in a row. */
import {make, place, table} from "./table.js";
import {dateOf, dayName, monthName, percent} from "./words.js";

const CELL = 20, LEFT = 116, TOP = 20;

function daysOf(days, now) {
	const c = days.columns;
	return c.t.map((t, i) => ({t, date: dateOf(t), share: c.paired_s[i] / Math.max(1, Math.min(c.t_end[i], now) - t),
		t_end: c.t_end[i]}));
}

function touches(spans, d) {
	return spans.some((s) => s.from < d.t_end && s.to > d.t);
}

function words(d) {
	return `${dayName(d.t)}: known for ${percent(d.share)}${d.found ? `; found: ${d.found}` : ""}${
		d.corrected ? "; a correction is in force" : ""}`;
}

function cell(d, x, y, choose) {
	const size = CELL - 3, h = size * Math.min(1, d.share);
	const g = make("svg:g", {class: "cell", onclick: () => choose(d.date)},
		make("svg:title", {}, words(d)),
		make("svg:path", {class: "frame", d: d.found
			? `M${x} ${y}h${size - 6}l6 6v${size - 6}h${-size}z` : `M${x} ${y}h${size}v${size}h${-size}z`}),
		make("svg:path", {class: "filled", d: d.found && h > size - 6
			? `M${x} ${y + size}v${-h}h${Math.max(0, size - 6 + size - h)}L${x + size} ${y + 6}v${size - 6}z`
			: `M${x} ${y + size}v${-h}h${size}v${h}z`}));
	if (d.corrected)
		g.append(make("svg:circle", {class: "dot", cx: x + size / 2, cy: y + size / 2, r: 2.5}));
	return g;
}

/* findings: {from, to, title}; corrections: {from, to}; instants in seconds. */
export function drawCalendar(where, days, findings, corrections, now, chosen, choose) {
	const all = daysOf(days, now).filter((d) => d.t < now);
	for (const d of all) {
		d.found = findings.filter((f) => f.from < d.t_end && f.to > d.t).map((f) => f.title).join(", ");
		d.corrected = touches(corrections, d);
	}
	const months = [...new Set(all.map((d) => d.date.slice(0, 7)))];
	const svg = make("svg:svg", {viewBox: `0 0 ${LEFT + 31 * CELL} ${TOP + months.length * CELL}`, role: "application",
		tabindex: "0", "aria-label": `What is known of ${all.length} days`});
	const line = make("p", {class: "reading", "aria-live": "polite"},
		"Arrow keys go from day to day, Enter opens the day below.");
	for (let day = 1; day <= 31; day++)
		svg.append(make("svg:text", {class: "tick", x: LEFT + (day - 1) * CELL + 8, y: 12, "text-anchor": "middle"},
			String(day)));
	const spot = (d) => [LEFT + (Number(d.date.slice(8)) - 1) * CELL, TOP + months.indexOf(d.date.slice(0, 7)) * CELL];
	for (const d of all)
		svg.append(cell(d, ...spot(d), choose));
	months.forEach((m, i) => svg.append(make("svg:text", {class: "tick", x: LEFT - 8, y: TOP + i * CELL + 13,
		"text-anchor": "end"}, monthName(all.find((d) => d.date.startsWith(m)).t))));
	const ring = make("svg:rect", {class: "ring", width: CELL, height: CELL, visibility: "hidden"});
	svg.append(ring);
	let at = all.findIndex((d) => d.date === chosen);
	function point(i) {
		at = Math.max(0, Math.min(all.length - 1, i));
		const [x, y] = spot(all[at]);
		ring.setAttribute("x", x - 1.5);
		ring.setAttribute("y", y - 1.5);
		ring.setAttribute("visibility", "visible");
		line.textContent = words(all[at]);
	}
	if (at >= 0)
		point(at);
	svg.addEventListener("keydown", (e) => {
		const by = {ArrowRight: 1, ArrowLeft: -1, ArrowDown: 30, ArrowUp: -30, Home: -all.length, End: all.length}[e.key];
		if (by !== undefined) {
			e.preventDefault();
			point(at + by);
		}
		if (e.key === "Enter" && at >= 0)
			choose(all[at].date);
	});
	place(where, make("div", {class: "wide"}, svg, line), () => table("What is known by day",
		["Day", "Known for", "Found", "Correction"],
		all.map((d) => [dayName(d.t), percent(d.share), d.found || "–", d.corrected ? "in force" : "–"])));
}
