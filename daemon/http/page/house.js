/* Heat for the rooms by the outdoor temperature: a mark a day, and the line through them. */
import {axes, pointer, scales, sizeOf} from "./frame.js";
import {make, place, table} from "./table.js";
import {walk} from "./walk.js";
import {absent, dateOf, dayName, energy, number} from "./words.js";

function points(answer) {
	const p = answer.evidence.points;
	return p ? p.t.map((t, i) => ({t, x: p.outdoor_c[i], y: p.space_heat_kwh[i], fitted: p.fitted_kwh[i]})) : [];
}

/* From the coldest day to the bend, and on level from there. */
function line(s, all, answer) {
	const sorted = all.filter((p) => !absent(p.fitted)).sort((a, b) => a.x - b.x), bend = answer.answer?.base_temperature_c?.value;
	const ends = [sorted[0], sorted.findLast((p) => p.x <= bend), sorted.find((p) => p.x > bend), sorted.at(-1)].filter(Boolean);
	return make("svg:path", {class: "drawn", d: ends.map((p, i) => `${i ? "L" : "M"}${s.px(p.x)} ${s.py(p.fitted)}`).join("")});
}

function describe(p) {
	return `${dayName(p.t)}: ${energy(p.y)} kWh at ${number(p.x, 1)} °C outside${absent(p.fitted) ? "" : `, ${energy(p.fitted)} kWh by the line`}`;
}

/* Into `where`, which is on the page: a figure is as wide as that. */
export function drawHouse(where, answer, choose) {
	const all = points(answer);
	if (!all.length)
		return;
	const [width, height] = sizeOf(where), ys = all.map((p) => p.y), xs = all.map((p) => p.x);
	const s = scales(width, height, [Math.min(...xs) - 1, Math.max(...xs) + 1], [Math.min(0, ...ys), Math.max(...ys) * 1.05 + 1]);
	const said = make("p", {class: "reading"}, "A day is told here: by pointing, or by arrow keys; Enter looks into it.");
	const svg = make("svg:svg", {class: "scatter", width, height, viewBox: `0 0 ${width} ${height}`});
	const [ring, toDay] = pointer(s);
	let go = null;
	axes(svg, s, {below: "outdoor temperature, mean of the day, °C", upward: "kWh a day"});
	for (const p of all)
		svg.append(make("svg:circle", {class: "mark", cx: s.px(p.x), cy: s.py(p.y), r: 3, onpointerenter: () => go(all.indexOf(p)),
			onclick: () => choose(dateOf(p.t))}));
	if (answer.answer)
		svg.append(line(s, all, answer));
	svg.append(ring);
	go = walk(svg, said, all, -1, {name: `Heat for the rooms on ${all.length} days by outdoor temperature`, key: "house", words: describe,
		mark: toDay, choose: (p) => choose(dateOf(p.t))});
	place(where, "Heat for the rooms", make("div", {}, svg, said), () => table("Heat for the rooms by day",
		["Day", "Outside, °C", "Heat for the rooms, kWh", "By the line, kWh"],
		all.map((p) => [dayName(p.t), number(p.x, 1), energy(p.y), absent(p.fitted) ? "–" : energy(p.fitted)])));
}
