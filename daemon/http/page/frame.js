/* The frame of a figure of days: two axes with their steps, and where a value lies. */
import {make} from "./table.js";
import {number} from "./words.js";

export const LEFT = 44, RIGHT = 14, TOP = 24, BOTTOM = 44;

/* Steps of 1, 2 or 5 with about so many of them between two values. */
function steps(low, high, about) {
	const raw = Math.max((high - low) / about, 1e-9), power = 10 ** Math.floor(Math.log10(raw));
	const step = [1, 2, 5, 10].map((m) => m * power).find((s) => s >= raw);
	const out = [];
	for (let v = Math.ceil(low / step - 1e-9) * step; v <= high + step / 1e6; v += step)
		out.push(Math.round(v / step) * step);
	return out;
}

/* xs, ys: least and greatest. */
export function scales(width, height, xs, ys) {
	return {width, height, xs, ys, px: (x) => LEFT + (x - xs[0]) / (xs[1] - xs[0]) * (width - LEFT - RIGHT),
		py: (y) => height - BOTTOM - (y - ys[0]) / (ys[1] - ys[0]) * (height - TOP - BOTTOM)};
}

/* As wide as there is room. */
export function sizeOf(where) {
	const width = Math.max(260, where.clientWidth);
	return [width, Math.round(Math.max(260, Math.min(400, width * 0.45)))];
}

export function words(x, y, anchor, text, kind = "tick") {
	return make("svg:text", {class: kind, x, y, "text-anchor": anchor}, text);
}

/* `below` and `upward` say what the axes are of, outside of them, where no line crosses it; ticks
 * of x are at `at` as [value, text], or by steps; `strong` is a line of y that is set off. */
export function axes(svg, {width, height, xs, ys, px, py}, {below, upward, at, decimals = 0, strong = null}) {
	for (const [x, text] of at ?? steps(xs[0], xs[1], width < 480 ? 5 : 9).map((v) => [v, number(v, 0)]))
		svg.append(make("svg:line", {class: "grid", x1: px(x), x2: px(x), y1: TOP, y2: height - BOTTOM}),
			words(px(x), height - BOTTOM + 17, "middle", text));
	for (const y of steps(ys[0], ys[1], 6))
		svg.append(make("svg:line", {class: y === strong ? "grid one" : "grid", x1: LEFT, x2: width - RIGHT, y1: py(y), y2: py(y)}),
			words(LEFT - 7, py(y) + 4, "end", number(y, decimals)));
	svg.append(words((LEFT + width - RIGHT) / 2, height - 6, "middle", below ?? "", "axis"), words(4, 12, "start", upward ?? "", "axis"));
}

/* The chosen day: a ring, and a bar as far as its figure may lie off. */
export function pointer({px, py, height}) {
	const ring = make("svg:circle", {r: 9}), reach = make("svg:path", {});
	const g = make("svg:g", {class: "ring", visibility: "hidden"}, reach, ring);
	return [g, (p) => {
		const x = px(p.x), half = p.half ?? 0;
		const top = Math.max(py(p.y + half), 1), end = Math.min(py(p.y - half), height - BOTTOM);
		ring.setAttribute("cx", x);
		ring.setAttribute("cy", py(p.y));
		reach.setAttribute("d", half ? `M${x} ${top}V${end}m-4 0h8M${x - 4} ${top}h8` : "");
		g.setAttribute("visibility", "visible");
	}];
}
