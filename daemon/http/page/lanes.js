/* One day in depth: lanes on one axis of time with one cursor. Gaps stay gaps, hatched. */
import {make, place, table} from "./table.js";
import {clock, clockOfDay, duration, modeName, MODES, number, offsetAt} from "./words.js";

const LEFT = 52, RIGHT = 48, STRIP = 34;

/* Which roles go into which lane; in each, the first scale is the left one. */
const LANES = [
	{title: "Temperatures, °C", height: 200, left: "Cel", series: [
		["flow_temperature", "flow", {stroke: "--water"}],
		["return_temperature", "return", {stroke: "--water", dash: [5, 4]}],
		["target_flow_temperature", "target flow", {stroke: "--faint", dash: [2, 3]}],
		["cylinder_temperature", "cylinder", {stroke: "--ink", dash: [8, 3, 2, 3]}],
		["room_temperature", "room", {stroke: "--ink"}],
		["outdoor_temperature", "outdoor", {stroke: "--grey"}]]},
	{title: "Flow, L/min, and pressure, bar", height: 110, left: "L/min", right: "bar", series: [
		["flow_rate", "flow rate", {stroke: "--water"}],
		["water_pressure", "pressure", {stroke: "--grey", dash: [5, 4], scale: "right"}]]},
];

function color(name) {
	return getComputedStyle(document.documentElement).getPropertyValue(name).trim();
}

function hatch(context) {
	const tile = document.createElement("canvas");
	tile.width = tile.height = 8;
	const c = tile.getContext("2d");
	c.strokeStyle = color("--faint");
	c.beginPath();
	c.moveTo(0, 8);
	c.lineTo(8, 0);
	c.stroke();
	return context.createPattern(tile, "repeat");
}

/* Where none of a lane's series is known. */
function drawGaps(u) {
	const t = u.data[0], context = u.ctx;
	context.save();
	context.fillStyle = hatch(context);
	let begin = null;
	for (let i = 0; i <= t.length; i++) {
		const empty = i < t.length && u.data.slice(1).every((s) => s[i] === null);
		if (empty && begin === null)
			begin = t[i];
		if (!empty && begin !== null) {
			const end = i < t.length ? t[i] : t[t.length - 1];
			const x = u.valToPos(begin, "x", true), w = u.valToPos(end, "x", true) - x;
			context.fillRect(x, u.bbox.top, w, u.bbox.height);
			begin = null;
		}
	}
	context.restore();
}

function hours(t_begin, t_end, width) {
	const step = (width < 480 ? 6 : 3) * 3600, out = [];
	for (let t = t_begin; t <= t_end; t += step)
		out.push(t);
	return out;
}

/* The offset is said once, where it changed. */
function hourWords(times) {
	return times.map((t, i) => i > 0 && offsetAt(t) !== offsetAt(times[i - 1]) ? clockOfDay(t, times[i - 1]) : clock(t));
}

function axis(options) {
	return {stroke: color("--ink"), grid: {stroke: color("--line"), width: 1}, ticks: {show: false},
		font: "12px system-ui, sans-serif", ...options};
}

function lane(spec, data, day, width, on) {
	const axes = [
		axis({size: 24, values: (u, splits) => hourWords(splits),
			splits: () => hours(day.t, day.t_end, width)}),
		axis({scale: "left", size: LEFT}),
	];
	if (spec.right)
		axes.push(axis({scale: "right", side: 1, size: RIGHT, grid: {show: false}}));
	return new uPlot({
		width, height: spec.height, padding: [8, spec.right ? 0 : RIGHT, 0, 0], legend: {show: false},
		scales: {x: {time: true, range: () => [day.view.t, day.view.t_end]}, left: spec.range ?? {}, right: {}},
		cursor: {sync: {key: "day"}, y: false, drag: {x: false, y: false}},
		axes,
		series: [{}, ...spec.series.map(([, label, style]) => ({label, scale: style.scale ?? "left",
			stroke: color(style.stroke), dash: style.dash, fill: style.fill ? color(style.fill) : undefined,
			width: 1.5, spanGaps: false, points: {show: false},
			paths: style.steps ? uPlot.paths.stepped({align: 1}) : undefined}))],
		hooks: {drawClear: [drawGaps], setCursor: [on]},
	}, data, make("div"));
}

/* ---- modes ---- */

function patterns() {
	const p = (id, d, more = {}) => make("svg:pattern", {id: `mode-${id}`, width: 6, height: 6,
		patternUnits: "userSpaceOnUse"}, make("svg:rect", {width: 6, height: 6, class: `ground ${id}`}),
		make("svg:path", {d, class: `stroke ${id}`, ...more}));
	return make("svg:defs", {},
		p("heating", ""), p("hot_water", "M1.5 1.5h.01M4.5 4.5h.01", {"stroke-linecap": "round", "stroke-width": 2}),
		p("defrost", "M0 6L6 0"), p("cooling", "M0 0L6 6"), p("overrun", "M3 0v6"),
		p("freeze_protection", "M0 6L6 0M0 0L6 6"), p("standby", ""), p("unassigned", "M0 3h6"));
}

function swatch(mode) {
	return make("svg:svg", {class: "swatch", width: 18, height: 12, "aria-hidden": "true"},
		make("svg:rect", {width: 18, height: 12, fill: `url(#mode-${mode})`}));
}

function strip(modes, day, width) {
	const inner = width - LEFT - RIGHT, c = modes.columns;
	const x = (t) => LEFT + (t - day.view.t) / (day.view.t_end - day.view.t) * inner;
	const present = MODES.map(([m]) => m).filter((m) => modes.modes[m]);
	const svg = make("svg:svg", {class: "strip", width, height: STRIP, role: "img",
		"aria-label": "Operating modes of the day"}, patterns());
	for (let i = 0; i < c.t.length; i++) {
		if (c.t_end[i] <= day.view.t || c.t[i] >= day.view.t_end)
			continue;
		const a = Math.max(x(c.t[i]), LEFT), b = Math.min(x(c.t_end[i]), LEFT + inner);
		const all = c.t_end[i] - c.t[i];
		let y = 4;
		for (const m of present) {
			const share = (modes.modes[m].observed_s[i] ?? 0) / all;
			if (share <= 0)
				continue;
			svg.append(make("svg:rect", {x: a, y, width: Math.max(0.5, b - a), height: share * (STRIP - 8),
				fill: `url(#mode-${m})`}));
			y += share * (STRIP - 8);
		}
	}
	svg.append(make("svg:text", {class: "tick", x: LEFT - 6, y: STRIP / 2 + 4, "text-anchor": "end"}, "mode"));
	return make("div", {}, svg, make("p", {class: "legend"},
		...present.map((m) => make("span", {}, swatch(m), modeName(m)))));
}

function modeAt(modes, t) {
	const c = modes.columns;
	const i = near(c.t, t);
	if (i < 0 || t >= c.t_end[i])
		return null;
	const most = MODES.map(([m]) => [m, modes.modes[m]?.observed_s[i] ?? 0]).sort((a, b) => b[1] - a[1])[0];
	return most[1] > 0 ? modeName(most[0]) : null;
}

/* ---- the whole ---- */

function columnsOf(series, byRole) {
	return (role) => byRole[role] ? series.columns[byRole[role].name] : null;
}

function laneData(spec, series, byRole) {
	const column = columnsOf(series, byRole);
	const kept = spec.series.filter(([role]) => column(role));
	return {spec: {...spec, series: kept}, data: [series.columns.t, ...kept.map(([role]) => column(role))]};
}

function powerLane(energy) {
	const c = energy.columns;
	const kw = (kwh, i) => kwh === null ? null : kwh * 3600 / (c.t_end[i] - c.t[i]);
	return {spec: {title: "Heat and electricity, kW", height: 150, left: "kW", series: [
		["heat", "heat", {stroke: "--heat", fill: "--heat-fill", steps: true}],
		["electricity", "electricity", {stroke: "--electricity", dash: [6, 2], steps: true}]]},
	data: [c.t, c.heat_kwh.map((v, i) => c.heat_observed_s[i] > 0 ? kw(v, i) : null),
		c.electricity_kwh.map((v, i) => c.electricity_observed_s[i] > 0 ? kw(v, i) : null)]};
}

function near(times, t) {
	let low = 0, high = times.length;
	while (low < high) {
		const middle = (low + high) >> 1;
		if (times[middle] <= t)
			low = middle + 1;
		else
			high = middle;
	}
	return low - 1;
}

function reading(lanes, modes, day, t) {
	const said = [clockOfDay(t, day.t)];
	const mode = modeAt(modes, t);
	if (mode)
		said.push(mode);
	for (const {spec, data} of lanes) {
		const i = near(data[0], t);
		spec.series.forEach(([, label, style], k) => {
			const v = i < 0 ? null : data[k + 1][i];
			const unit = {Cel: "°C", "L/min": "L/min", bar: "bar", kW: "kW"}[style.scale === "right" ? spec.right : spec.left];
			said.push(`${label} ${v === null || v === undefined ? "unknown" : `${number(v, spec.left === "kW" ? 2 : 1)} ${unit}`}`);
		});
	}
	return said.join(", ");
}

/* day: {t, t_end}; series: /v1/series, energy: /v1/energy, modes: the same by mode, each by
 * minute; byRole: role → channel. */
export function drawDay(where, day, series, energy, modes, byRole) {
	day.view = {t: day.t, t_end: day.t_end};
	const width = Math.max(300, where.clientWidth);
	const lanes = [...LANES.map((spec) => laneData(spec, series, byRole)), powerLane(energy)]
		.filter(({data}) => data.length > 1);
	const line = make("p", {class: "reading", "aria-live": "polite"},
		"Arrow keys move by a minute, Page Up and Page Down by an hour, + and − change the scale, 0 shows the whole day.");
	const box = make("div", {class: "lanes", tabindex: "0", role: "application", "aria-label": "The day's lanes"});
	let plots = [], at = null;
	function tell(t) {
		at = Math.max(day.t, Math.min(day.t_end - 60, Math.round(t / 60) * 60));
		line.textContent = reading(lanes, modes, day, at);
	}
	function draw() {
		plots.forEach((p) => p.destroy());
		plots = lanes.map(({spec, data}) => lane(spec, data, day, width, (u) => {
			if (u.cursor.left >= 0 && u.cursor.event)
				tell(u.posToVal(u.cursor.left, "x"));
		}));
		box.replaceChildren(strip(modes, day, width), ...plots.map((p, i) => make("figure", {},
			make("figcaption", {}, lanes[i].spec.title, " — ", ...legend(lanes[i].spec)), p.root)));
	}
	function go(t) {
		tell(t);
		if (plots[0])
			plots[0].setCursor({left: plots[0].valToPos(at, "x"), top: 10});
	}
	function zoom(factor) {
		const middle = at ?? (day.view.t + day.view.t_end) / 2;
		const half = Math.min((day.t_end - day.t) / 2, Math.max(900, (day.view.t_end - day.view.t) / 2 * factor));
		day.view.t = Math.max(day.t, Math.min(middle - half, day.t_end - 2 * half));
		day.view.t_end = Math.min(day.t_end, day.view.t + 2 * half);
		draw();
		go(middle);
	}
	box.addEventListener("keydown", (e) => {
		const by = {ArrowRight: 60, ArrowLeft: -60, PageDown: 3600, PageUp: -3600}[e.key];
		if (by !== undefined)
			go((at ?? day.t) + by);
		else if (e.key === "+" || e.key === "-")
			zoom(e.key === "+" ? 0.5 : 2);
		else if (e.key === "0")
			zoom(1e9);
		else
			return;
		e.preventDefault();
	});
	draw();
	place(where, make("div", {}, summary(energy), box, line), () => asTable(lanes, modes, day));
}

function legend(spec) {
	return spec.series.map(([, label, style]) => make("span", {class: "key"},
		make("svg:svg", {width: 26, height: 8, "aria-hidden": "true"}, make("svg:line", {x1: 0, x2: 26, y1: 4, y2: 4,
			class: "key-line", style: `stroke: var(${style.stroke})`, "stroke-dasharray": style.dash?.join(" ")})), label));
}

function summary(energy) {
	const t = energy.total;
	const unknown = t.t_end - t.t - t.paired_s;
	return make("p", {}, `Heat ${number(t.heat_kwh, 1)} kWh, electricity ${number(t.electricity_kwh, 1)} kWh, ${
		t.cop === null ? `no quotient: ${t.no_cop_because}` : `${number(t.cop, 2)} ± ${number(t.cop_uncertainty, 2)}`}${
		unknown >= 60 ? `; ${duration(unknown)} not known` : ""}.`);
}

function asTable(lanes, modes, day) {
	const [first] = lanes;
	const rows = first.data[0].map((t, i) => [clockOfDay(t, day.t), modeAt(modes, t) ?? "–",
		...lanes.flatMap(({data}) => data.slice(1).map((s) => {
			const k = data === first.data ? i : near(data[0], t);
			return number(s[k], 2);
		}))]);
	return table("The day by minute", ["Time", "Mode", ...lanes.flatMap(({spec}) =>
		spec.series.map(([, label, style]) => `${label}, ${style.scale === "right" ? spec.right : spec.left}`
			.replace("Cel", "°C")))], rows);
}
