/* How much of each day is known: months below each other, their days in a row. */
import {make, place, table} from "./table.js";
import {walk} from "./walk.js";
import {dateOf, dayName, monthName, monthShort, percent} from "./words.js";

const TOP = 22;

function daysOf(days, now) {
	const c = days.columns;
	return c.t.map((t, i) => ({t, date: dateOf(t), t_end: c.t_end[i],
		share: Math.min(1, c.paired_s[i] / Math.max(1, Math.min(c.t_end[i], now) - t))})).filter((d) => d.t < now);
}

function touches(spans, d) {
	return spans.filter((s) => s.from < d.t_end && s.to > d.t);
}

function words(d) {
	return `${dayName(d.t)}: known for ${percent(d.share)}${d.found ? `; found: ${d.found}` : ""}${
		d.corrected ? "; a correction is in force" : ""}`;
}

function cell(d, x, y, size, tall) {
	const h = tall * d.share, cut = Math.max(4, size * 0.45);
	const g = make("svg:g", {class: "cell"},
		make("svg:rect", {class: "frame", x, y, width: size, height: tall}),
		make("svg:rect", {class: "filled", x, y: y + tall - h, width: size, height: h}));
	if (d.found)
		g.append(make("svg:path", {class: "found", d: `M${x + size - cut} ${y}h${cut}v${cut}z`}));
	if (d.corrected)
		g.append(make("svg:circle", {class: "dot", cx: x + size * 0.35, cy: y + tall * 0.65, r: Math.max(1.5, size * 0.14)}));
	return g;
}

function layout(width, months) {
	const narrow = width < 560, left = narrow ? 60 : 128;
	const step = Math.min(24, (width - left - 2) / 31), gap = narrow ? 1 : 3;
	const down = Math.max(step, 16); /* a line of text has room */
	return {narrow, left, step, down, size: step - gap, tall: down - gap, months,
		spot: (d) => [left + (Number(d.date.slice(8)) - 1) * step, TOP + months.indexOf(d.date.slice(0, 7)) * down]};
}

function labels(svg, all, l) {
	for (let day = 1; day <= 31; day++)
		if (!l.narrow || day % 5 === 0 || day === 1)
			svg.append(make("svg:text", {class: "tick", x: l.left + (day - 1) * l.step + l.size / 2, y: 13,
				"text-anchor": "middle"}, String(day)));
	l.months.forEach((m, i) => {
		const t = all.find((d) => d.date.startsWith(m)).t;
		svg.append(make("svg:text", {class: "tick", x: l.left - 8, y: TOP + i * l.down + l.tall / 2 + 4, "text-anchor": "end"},
			l.narrow ? monthShort(t) : monthName(t)));
	});
}

/* findings: {from, to, title}; corrections: {from, to}; instants in seconds. */
export function drawCalendar(where, days, findings, corrections, now, chosen, choose) {
	const all = daysOf(days, now);
	if (!all.length) {
		where.replaceChildren(make("p", {class: "empty"}, "No day is booked yet."));
		return;
	}
	for (const d of all) {
		d.found = touches(findings, d).map((f) => f.title).join(", ");
		d.corrected = touches(corrections, d).length > 0;
	}
	const l = layout(where.clientWidth, [...new Set(all.map((d) => d.date.slice(0, 7)))]);
	const width = l.left + 31 * l.step, height = TOP + l.months.length * l.down;
	const svg = make("svg:svg", {class: "calendar", width, height, viewBox: `0 0 ${width} ${height}`});
	const line = make("p", {class: "reading"}, "A day is told here: by pointing, or by arrow keys; Enter looks into it.");
	const ring = make("svg:rect", {class: "ring", width: l.size + 4, height: l.tall + 4, visibility: "hidden"});
	let go = null;
	labels(svg, all, l);
	all.forEach((d, i) => {
		const g = cell(d, ...l.spot(d), l.size, l.tall);
		g.addEventListener("pointerenter", () => go(i));
		g.addEventListener("click", () => choose(d.date));
		svg.append(g);
	});
	svg.append(ring);
	go = walk(svg, line, all, all.findIndex((d) => d.date === chosen), {
		name: `What is known of ${all.length} days`, key: "calendar", words, choose: (d) => choose(d.date),
		by: {ArrowDown: 30, ArrowUp: -30},
		mark(d) {
			const [x, y] = l.spot(d);
			ring.setAttribute("x", x - 2);
			ring.setAttribute("y", y - 2);
			ring.setAttribute("visibility", "visible");
		}});
	place(where, "What is known", make("div", {}, svg, line), () => table("What is known by day",
		["Day", "Known for", "Found", "Correction"],
		all.map((d) => [dayName(d.t), percent(d.share), d.found || "–", d.corrected ? "in force" : "–"])));
}
