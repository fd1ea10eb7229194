/* A value day by day, as a line over time, with instants that are noted. */
import {axes, BOTTOM, pointer, scales, sizeOf, TOP} from "./frame.js";
import {make, place, table} from "./table.js";
import {walk} from "./walk.js";
import {dateOf, monthShort} from "./words.js";

const WORD_HALF = 28; /* px of a month's name beside its line */

/* The first day of months, as many as there is room for. */
function months(all, width, px) {
	const firsts = [...new Map(all.toReversed().map((p) => [dateOf(p.t).slice(0, 7), p.t]))].reverse();
	const each = Math.ceil(firsts.length / (width < 480 ? 4 : 8));
	return firsts.filter(([, t], i) => i % each === 0 && px(t) <= width - WORD_HALF).map(([, t]) => [t, monthShort(t)]);
}

function path(all, s) {
	return all.map((p, i) => `${i ? "L" : "M"}${s.px(p.x)} ${s.py(p.y)}`).join("");
}

function bars(noted, s, all) {
	return noted.map((t) => s.px(Math.min(Math.max(t, all[0].x), all.at(-1).x))).map((x) =>
		make("svg:line", {class: "noted", x1: x, x2: x, y1: TOP, y2: s.height - BOTTOM}));
}

/* all: days of t and y, in order of time, two at least; noted: instants; words(day) tells one;
 * head, row(day): the table behind it; from: a value that is always in sight. */
export function drawCourse(where, {name, key, all: days, noted, upward, decimals = 0, from = null, words, head, row}, choose) {
	const all = days.map((p) => ({...p, x: p.t})), ys = [...all.map((p) => p.y), ...from === null ? [] : [from]];
	const [width, height] = sizeOf(where), low = Math.min(...ys), high = Math.max(...ys), air = (high - low) * 0.08 || 1;
	const s = scales(width, height, [all[0].x, all.at(-1).x], [low - air, high + air]);
	const said = make("p", {class: "reading"}, "A day is told here: by pointing, or by arrow keys; Enter looks into it.");
	const svg = make("svg:svg", {class: "course", width, height, viewBox: `0 0 ${width} ${height}`});
	const [ring, toDay] = pointer(s);
	axes(svg, s, {upward, at: months(all, width, s.px), decimals, strong: from});
	svg.append(...bars(noted, s, all), make("svg:path", {class: "drawn", d: path(all, s)}), ring);
	const go = walk(svg, said, all, -1, {name: `${name}, ${all.length} days`, key, words, mark: toDay, choose: (p) => choose(dateOf(p.t))});
	svg.addEventListener("pointermove", (e) => {
		const x = e.clientX - svg.getBoundingClientRect().left;
		go(all.reduce((best, p, i) => Math.abs(s.px(p.x) - x) < Math.abs(s.px(all[best].x) - x) ? i : best, 0));
	});
	place(where, name, make("div", {}, svg, said), () => table(name, head, all.map(row)));
}
