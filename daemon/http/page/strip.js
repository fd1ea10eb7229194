/* The operating modes of a day as a strip, each mode with a pattern of its own. */
import {make} from "./table.js";
import {clock, duration, modeName, MODES, sum} from "./words.js";

const HEIGHT = 44, TOP = 14, BAR = 26;

function patterns() {
	const p = (id, d, more = {}) => make("svg:pattern", {id: `mode-${id}`, width: 6, height: 6,
		patternUnits: "userSpaceOnUse"}, make("svg:rect", {width: 6, height: 6, class: `ground ${id}`}),
		make("svg:path", {d, class: `stroke ${id}`, ...more}));
	return make("svg:defs", {},
		p("heating", ""), p("hot_water", "M1.5 1.5h.01M4.5 4.5h.01", {"stroke-linecap": "round", "stroke-width": 2}),
		p("defrost", "M-1 1L1 -1M0 6L6 0M5 7L7 5"), p("cooling", "M-1 5L1 7M0 0L6 6M5 -1L7 1"), p("overrun", "M3 0v6"),
		p("freeze_protection", "M0 6L6 0M0 0L6 6"), p("standby", ""), p("unassigned", "M0 3h3"),
		make("svg:pattern", {id: "mode-gap", width: 8, height: 8, patternUnits: "userSpaceOnUse"},
			make("svg:path", {d: "M-1 1L1 -1M0 8L8 0M7 9L9 7", class: "stroke gap"})));
}

function swatch(mode) {
	return make("svg:svg", {class: "swatch", width: 20, height: 13, "aria-hidden": "true"},
		make("svg:rect", {class: "outline", width: 20, height: 13, fill: `url(#mode-${mode})`}));
}

function modesPresent(modes) {
	return MODES.map(([m]) => m).filter((m) => modes.modes[m]?.observed_s.some((s) => s > 0));
}

/* Neighbours that hold the same one mode are one piece: {t, t_end, parts: [[mode, share], …]}. */
function pieces(modes, present) {
	const c = modes.columns, out = [];
	for (let i = 0; i < c.t.length; i++) {
		const all = c.t_end[i] - c.t[i];
		const parts = present.map((m) => [m, (modes.modes[m].observed_s[i] ?? 0) / all]).filter(([, share]) => share > 0.005);
		const last = out[out.length - 1];
		if (last && last.t_end === c.t[i] && parts.length === 1 && last.parts.length === 1
			&& last.parts[0][0] === parts[0][0] && Math.abs(last.parts[0][1] - parts[0][1]) < 0.01)
			last.t_end = c.t_end[i];
		else if (parts.length)
			out.push({t: c.t[i], t_end: c.t_end[i], parts});
	}
	return out;
}

function totals(modes, present) {
	return present.map((m) => [m, sum(modes.modes[m].observed_s)]);
}

/* day.view is what is shown of it; starts: instants of the compressor's starts. */
export function strip(modes, day, {width, left, right}, starts) {
	const inner = width - left - right;
	const x = (t) => left + (t - day.view.t) / (day.view.t_end - day.view.t) * inner;
	const present = modesPresent(modes), told = totals(modes, present);
	const svg = make("svg:svg", {class: "strip", width, height: HEIGHT, role: "img", "aria-label":
		`Operating modes: ${told.map(([m, s]) => `${modeName(m)} ${duration(s)}`).join(", ") || "none known"}`}, patterns(),
	make("svg:rect", {x: left, y: TOP, height: BAR, fill: "url(#mode-gap)",
		width: Math.max(0, Math.min(inner, x(day.until) - left))}));
	for (const p of pieces(modes, present)) {
		if (p.t_end <= day.view.t || p.t >= day.view.t_end)
			continue;
		const a = Math.max(x(p.t), left), b = Math.min(x(p.t_end), left + inner);
		let y = TOP;
		svg.append(make("svg:rect", {class: "ground", x: a, y, width: Math.max(0.75, b - a), height: BAR}));
		for (const [m, share] of p.parts) {
			svg.append(make("svg:rect", {x: a, y, width: Math.max(0.75, b - a), height: share * BAR, fill: `url(#mode-${m})`}));
			y += share * BAR;
		}
	}
	svg.append(make("svg:rect", {class: "outline", x: left, y: TOP, width: inner, height: BAR, fill: "none"}));
	const seen = starts.filter((t) => t >= day.view.t && t < day.view.t_end);
	for (const t of seen)
		svg.append(make("svg:path", {class: "start", d: `M${x(t)} ${TOP - 2}l-4 -8h8z`}, make("svg:title", {}, `started ${clock(t)}`)));
	return make("figure", {}, make("figcaption", {}, make("span", {class: "title"}, "Modes"),
		...told.map(([m, s]) => make("span", {class: "key"}, swatch(m), `${modeName(m)} ${duration(s)}`)),
		seen.length ? make("span", {class: "key"}, make("svg:svg", {width: 10, height: 10, "aria-hidden": "true"},
			make("svg:path", {class: "start", d: "M5 9l-4 -8h8z"})), seen.length === 1 ? "a start" : `${seen.length} starts`) : null), svg);
}

/* The mode that most of the minute at t had. */
export function modeAt(modes, i) {
	if (i < 0)
		return null;
	const most = MODES.map(([m]) => [m, modes.modes[m]?.observed_s[i] ?? 0]).sort((a, b) => b[1] - a[1])[0];
	return most[1] > 0 ? modeName(most[0]) : null;
}
