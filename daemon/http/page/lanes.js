/* One day in depth: lanes on one axis of time with one cursor. Gaps stay gaps, hatched. */
import {modeAt, strip} from "./strip.js";
import {make, pairs, place, table} from "./table.js";
import {absent, clock, clockOfDay, dayLong, duration, jumpIn, number, offsetAt, offsetWords, ratio} from "./words.js";

/* Which roles go into which lane; in each, the first scale is the left one. */
const LANES = [
	{title: "Temperatures, °C", height: 210, left: "°C", series: [
		["flow_temperature", "flow", {stroke: "--water"}],
		["return_temperature", "return", {stroke: "--water", dash: [5, 4]}],
		["target_flow_temperature", "target flow", {stroke: "--faint", dash: [2, 3]}],
		["cylinder_temperature", "cylinder", {stroke: "--ink", dash: [8, 3, 2, 3]}],
		["room_temperature", "room", {stroke: "--ink"}],
		["outdoor_temperature", "outside", {stroke: "--grey"}]]},
	{title: "Flow, L/min", height: 120, left: "L/min", right: "bar", zero: true, series: [
		["flow_rate", "flow rate", {stroke: "--water"}],
		["water_pressure", "pressure (right, bar)", {stroke: "--grey", dash: [5, 4], scale: "right"}]]},
];
const POWER = {title: "Heat and electricity, kW", height: 160, left: "kW", zero: true, decimals: 2, series: [
	["heat", "heat given", {stroke: "--heat", fill: "--heat-fill", steps: true}],
	["electricity", "electricity taken", {stroke: "--electricity", dash: [6, 2], steps: true}]]};
const LEAST_VIEW_S = 1800;

export const LANE_ROLES = LANES.flatMap((l) => l.series.map(([role]) => role));

function color(name) {
	return getComputedStyle(document.documentElement).getPropertyValue(name).trim();
}

function hatch(context) {
	const tile = document.createElement("canvas");
	tile.width = tile.height = 8;
	const c = tile.getContext("2d");
	c.strokeStyle = color("--edge");
	c.beginPath();
	c.moveTo(0, 8);
	c.lineTo(8, 0);
	c.stroke();
	return context.createPattern(tile, "repeat");
}

/* Where none of a lane's series is known; what is to come is no gap. */
function drawGaps(until) {
	return (u) => {
		const t = u.data[0], context = u.ctx;
		context.save();
		context.fillStyle = hatch(context);
		let begin = null;
		for (let i = 0; i <= t.length; i++) {
			const empty = i < t.length && t[i] < until && u.data.slice(1).every((s) => s[i] === null);
			if (empty && begin === null)
				begin = t[i];
			if (!empty && begin !== null) {
				const end = i < t.length ? t[i] : Math.min(until, t[t.length - 1] + 60);
				const x = Math.max(u.bbox.left, u.valToPos(begin, "x", true));
				const x_end = Math.min(u.bbox.left + u.bbox.width, u.valToPos(end, "x", true));
				if (x_end > x)
					context.fillRect(x, u.bbox.top, x_end - x, u.bbox.height);
				begin = null;
			}
		}
		context.restore();
	};
}

/* ---- the axis of time ---- */

/* Local hours that divide the day, and the instant at which the clock jumps. */
function hours(day, inner) {
	const span = day.view.t_end - day.view.t, jump = jumpIn(day.t, day.t_end);
	const step = [300, 900, 1800, 3600, 10800, 21600].find((s) => span / s <= inner / 56) ?? 21600;
	const out = [];
	for (let t = day.t; t <= day.t_end; t += Math.min(step, 3600)) {
		const near = jump !== null && Math.abs(t - jump) * inner / span < 76;
		if ((t + offsetAt(t)) % step === 0 && !near)
			out.push(t);
	}
	if (jump !== null)
		out.push(jump);
	return out.filter((t) => t >= day.view.t && t <= day.view.t_end).sort((a, b) => a - b);
}

/* Where the clock jumps the offset stands beside the hour. */
function hourWords(day, times) {
	const jump = jumpIn(day.t, day.t_end);
	return times.map((t) => t === jump ? `${clock(t)} ${offsetWords(t)}` : clock(t));
}

function axis(options) {
	return {stroke: color("--faint"), grid: {stroke: color("--line"), width: 1}, ticks: {show: false},
		font: "12px system-ui, sans-serif", ...options};
}

function ticks(u, splits) {
	const decimals = splits.some((v) => Math.abs(v - Math.round(v)) > 1e-6) ? 1 : 0;
	return splits.map((v) => number(v, decimals));
}

function lane(spec, data, day, room, on) {
	const inner = room.width - room.left - room.right;
	const range = (u, low, high) => {
		if (low === null)
			return [0, 1];
		return spec.zero ? uPlot.rangeNum(Math.min(0, low), Math.max(0, high) || 1, 0.08, true) : uPlot.rangeNum(low, high, 0.08, true);
	};
	const axes = [
		axis({size: 26, gap: 6, values: (u, splits) => hourWords(day, splits), splits: () => hours(day, inner)}),
		axis({scale: "left", size: room.left, gap: 6, space: 34, values: ticks}),
	];
	if (spec.right && spec.series.some(([, , style]) => style.scale))
		axes.push(axis({scale: "right", side: 1, size: room.right, gap: 6, grid: {show: false}, space: 34, values: ticks}));
	return new uPlot({
		width: room.width, height: spec.height, padding: [10, axes.length > 2 ? 0 : room.right, 0, 0], legend: {show: false},
		scales: {x: {time: true, range: () => [day.view.t, day.view.t_end]}, left: {range}, right: {range}},
		cursor: {sync: {key: "day"}, y: false, drag: {x: false, y: false}},
		axes,
		series: [{}, ...spec.series.map(([, label, style]) => ({label, scale: style.scale ?? "left",
			stroke: color(style.stroke), dash: style.dash, fill: style.fill ? color(style.fill) : undefined,
			width: 1.5, spanGaps: false, points: {show: false},
			paths: style.steps ? uPlot.paths.stepped({align: 1}) : undefined}))],
		hooks: {drawClear: [drawGaps(day.until)], setCursor: [on]},
	}, data, make("div"));
}

/* ---- what the lanes show ---- */

function laneData(spec, series, byRole) {
	const column = (role) => byRole[role] ? series.columns[byRole[role].name] : null;
	const kept = spec.series.filter(([role]) => column(role));
	return {spec: {...spec, series: kept}, data: [series.columns.t, ...kept.map(([role]) => column(role))]};
}

function powerLane(energy) {
	const c = energy.columns;
	const kw = (kwh, i) => kwh === null ? null : kwh * 3600 / (c.t_end[i] - c.t[i]);
	return {spec: POWER, data: [c.t, c.heat_kwh.map((v, i) => c.heat_observed_s[i] > 0 ? kw(v, i) : null),
		c.electricity_kwh.map((v, i) => c.electricity_observed_s[i] > 0 ? kw(v, i) : null)]};
}

/* The row of the minute that t lies in, or -1. */
function rowAt(times, t) {
	let low = 0, high = times.length;
	while (low < high) {
		const middle = (low + high) >> 1;
		if (times[middle] <= t)
			low = middle + 1;
		else
			high = middle;
	}
	return low > 0 && t < times[low - 1] + 60 ? low - 1 : -1;
}

function valueAt({spec, data}, k, t) {
	const i = rowAt(data[0], t), v = i < 0 ? null : data[k + 1][i];
	const unit = spec.series[k][2].scale === "right" ? spec.right : spec.left;
	return absent(v) ? "unknown" : `${number(v, spec.decimals ?? 1)} ${unit}`;
}

function caption(lane) {
	const slots = lane.spec.series.map(() => make("span", {class: "value"}));
	const keys = lane.spec.series.map(([, label, style], k) => make("span", {class: "key"},
		make("svg:svg", {width: 26, height: 8, "aria-hidden": "true"}, make("svg:line", {x1: 0, x2: 26, y1: 4, y2: 4,
			class: "key-line", style: `stroke: var(${style.stroke})`, "stroke-dasharray": style.dash?.join(" ")})),
		label, slots[k]));
	return [make("figcaption", {}, make("span", {class: "title"}, lane.spec.title), ...keys), slots];
}

function summary(energy, day) {
	const t = energy.total, kwh = (v) => v === null ? "not known" : `${number(v, 1)} kWh`;
	const said = [["heat given", kwh(t.heat_kwh), "heat"], ["electricity taken", kwh(t.electricity_kwh), "electricity"],
		["heat for one of electricity", t.cop === null ? `none: ${t.no_cop_because}` : ratio(t.cop, t.cop_uncertainty)]];
	const unknown = Math.min(day.t_end, day.until) - day.t - t.paired_s;
	said.push(["not known for", unknown >= 60 ? duration(unknown) : "no minute"]);
	return pairs(said);
}

/* What is said of a day that has no 24 hours, or none yet. */
function aboutDay(day) {
	const jump = jumpIn(day.t, day.t_end), said = [dayLong(day.t)];
	if (jump !== null)
		said.push(`the clock goes ${offsetAt(day.t_end) > offsetAt(day.t) ? "forward" : "back"}, so the day has ${
			number((day.t_end - day.t) / 3600, 0)} hours`);
	if (day.until < day.t_end)
		said.push(day.until > day.t ? `told until ${clock(day.until)}` : "it is still to come");
	return make("p", {class: "about-day"}, `${said.join("; ")}.`);
}

/* ---- the whole ---- */

function tools(move, zoom) {
	const button = (name, run) => make("button", {type: "button", "data-key": name, onclick: run}, name);
	return make("p", {class: "tools"}, make("output", {class: "at"}, "A minute is told here: by pointing, or by arrow keys"),
		make("span", {class: "buttons"}, button("a minute back", () => move(-60)), button("a minute on", () => move(60)),
			button("closer", () => zoom(0.5)), button("wider", () => zoom(2)),
			button("whole day", () => zoom(1e9))));
}

/* day: {t, t_end, until, at, view, starts}: at and view are kept from drawing to drawing;
 * series: /v1/series, energy: /v1/energy, modes: the same by mode, each by minute; byRole:
 * role → channel. */
export function drawDay(where, day, series, energy, modes, byRole) {
	const width = Math.max(280, where.clientWidth);
	const room = width < 560 ? {width, left: 34, right: 30} : {width, left: 48, right: 44};
	const lanes = [...LANES.map((spec) => laneData(spec, series, byRole)), powerLane(energy)]
		.filter(({data}) => data.length > 1);
	const box = make("div", {class: "lanes", tabindex: "0", role: "slider", "data-key": "lanes", "aria-label": "Minute of the day",
		"aria-valuemin": 0, "aria-valuemax": (day.t_end - day.t) / 60 - 1, "aria-valuenow": 0, "aria-valuetext": "none chosen"});
	let plots = [], slots = [];
	function tell(t) {
		day.at = Math.max(day.t, Math.min(day.t_end - 60, Math.floor(t / 60) * 60));
		const mode = modeAt(modes, rowAt(modes.columns.t, day.at));
		const said = [`${clockOfDay(day.at, day)}, ${mode ?? "mode not known"}`];
		bar.querySelector(".at").textContent = said[0];
		lanes.forEach((l, n) => l.spec.series.forEach(([, label], k) => {
			const value = valueAt(l, k, day.at);
			slots[n][k].textContent = value;
			said.push(`${label} ${value}`);
		}));
		box.setAttribute("aria-valuenow", (day.at - day.t) / 60);
		box.setAttribute("aria-valuetext", said.join(", "));
	}
	function draw() {
		plots.forEach((p) => p.destroy());
		const captions = lanes.map(caption);
		slots = captions.map(([, s]) => s);
		plots = lanes.map(({spec, data}) => lane(spec, data, day, room, (u) => {
			if (u.cursor.left >= 0 && u.cursor.event)
				tell(u.posToVal(u.cursor.left, "x"));
		}));
		box.replaceChildren(strip(modes, day, room, day.starts), ...plots.map((p, i) =>
			make("figure", {}, captions[i][0], p.root)));
	}
	function go(t) {
		tell(t);
		if (day.at < day.view.t || day.at >= day.view.t_end)
			shift(day.at);
		queueMicrotask(() => plots[0]?.setCursor({left: plots[0].valToPos(day.at, "x"), top: 10})); /* a new one has its scales by then */
	}
	function shift(middle) {
		const half = (day.view.t_end - day.view.t) / 2;
		day.view.t = Math.max(day.t, Math.min(middle - half, day.t_end - 2 * half));
		day.view.t_end = day.view.t + 2 * half;
		draw();
		tell(day.at);
	}
	function zoom(factor) {
		const span = Math.min(day.t_end - day.t, Math.max(LEAST_VIEW_S, (day.view.t_end - day.view.t) * factor));
		const middle = day.at ?? (day.view.t + day.view.t_end) / 2;
		day.view = {t: middle - span / 2, t_end: middle + span / 2};
		shift(middle);
		go(middle);
	}
	const move = (by) => go((day.at ?? day.t) + by);
	const bar = tools(move, zoom);
	const keys = {ArrowRight: () => move(60), ArrowLeft: () => move(-60), ArrowUp: () => move(60), ArrowDown: () => move(-60),
		PageUp: () => move(-3600), PageDown: () => move(3600), Home: () => go(day.t), End: () => go(day.t_end),
		"+": () => zoom(0.5), "-": () => zoom(2), 0: () => zoom(1e9)};
	box.addEventListener("keydown", (e) => {
		if (!keys[e.key] || e.altKey || e.ctrlKey || e.metaKey)
			return;
		e.preventDefault();
		keys[e.key]();
	});
	draw();
	place(where, "One day", make("div", {}, aboutDay(day), summary(energy, day), bar, box,
		make("p", {class: "lead"}, "Hatched: nothing was known. Arrow keys go by the minute, Page Up and Page Down by the hour, + and − closer and wider, 0 shows the whole day.")),
	() => asTable(lanes, modes, day));
	if (day.at !== null)
		go(day.at);
}

function asTable(lanes, modes, day) {
	const columns = lanes.flatMap(({spec}) => spec.series.map(([, label, style]) =>
		`${label.replace(/ \(.*/, "")}, ${style.scale === "right" ? spec.right : spec.left}`));
	const rows = modes.columns.t.filter((t) => t < day.until).map((t, n) => [clockOfDay(t, day), modeAt(modes, n) ?? "–",
		...lanes.flatMap(({data}) => {
			const i = rowAt(data[0], t);
			return data.slice(1).map((s) => number(i < 0 ? null : s[i], 2));
		})]);
	return table("The day by minute", ["Time", "Mode", ...columns], rows);
}
