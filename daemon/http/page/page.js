/* What is shown is said by the address's fragment, so that a view can be kept: from, to,
 * boundary and day. Everything else follows from the daemon's answers. */
import {ask, Refused, useToken} from "./ask.js";
import {drawCalendar} from "./calendar.js";
import {drawFindings} from "./findings.js";
import {drawDay} from "./lanes.js";
import {drawLedger, drawNotes} from "./ledger.js";
import {drawScatter} from "./scatter.js";
import {make} from "./table.js";
import {addDays, addMonths, clock, dateOf, duration, isDate, modeName, number, startOf, useZone} from "./words.js";

const $ = (id) => document.getElementById(id);
const PRESENT_MS = 20000;

const known = {channels: null, now: 0, first: null, days: null, outdoor: null, findings: null};

/* ---- the view ---- */

function readView() {
	const p = new URLSearchParams(location.hash.slice(1));
	const date = (name) => isDate(p.get(name) ?? "") ? p.get(name) : null;
	return {from: date("from"), to: date("to"), day: date("day"), boundary: p.get("boundary")};
}

function writeView(change) {
	const view = {...readView(), ...change};
	const p = new URLSearchParams();
	for (const [name, value] of Object.entries(view))
		if (value)
			p.set(name, value);
	location.hash = p.toString();
}

/* The dates that are shown, both with. */
function shown() {
	const view = readView(), today = dateOf(known.now - 1);
	const last = known.last && dateOf(known.last) < today ? dateOf(known.last) : today;
	const to = view.to ?? last;
	return {from: view.from ?? addMonths(to, -11), to, day: view.day ?? last, boundary: view.boundary};
}

function choices() {
	const today = dateOf(known.now - 1), [month, day] = (known.findings?.season_start ?? "07-01").split("-");
	const season = `${today.slice(5) >= `${month}-${day}` ? today.slice(0, 4) : today.slice(0, 4) - 1}-${month}-${day}`;
	const list = [["two weeks", addDays(today, -13), today], ["this month", `${today.slice(0, 7)}-01`, today],
		["this season", season, today], ["all", known.first ? dateOf(known.first) : season, today]];
	$("spans").replaceChildren(...list.map(([name, from, to]) => make("button", {type: "button",
		"aria-pressed": String(shown().from === from && shown().to === to), onclick: () => writeView({from, to})}, name)));
}

/* ---- drawing ---- */

function trouble(error) {
	const hidden = !error;
	$("trouble").hidden = hidden;
	if (hidden)
		return;
	$("token-form").hidden = !(error instanceof Refused && error.status === 401);
	$("trouble").textContent = error instanceof Refused ? error.message
		: `heatbook cannot be reached just now (${error.message}).`;
	if (!(error instanceof Refused || error instanceof TypeError))
		console.error(error);
}

function chooseDay(day) {
	writeView({day});
	$("day").scrollIntoView({block: "start"});
}

async function drawLedgerNow(view) {
	const span = {from: startOf(view.from), to: startOf(addDays(view.to, 1)), boundary: view.boundary};
	const [months, days] = await Promise.all([ask("energy", {...span, step: "P1M", by: "mode"}),
		ask("energy", {...span, step: "P1D", by: "mode"})]);
	drawLedger($("ledger-table"), months, days, known.now, chooseDay);
	drawNotes($("ledger-notes"), months);
	$("about").textContent = `Boundary ${months.boundary ?? "none"}, expanded uncertainty with k = 2. heatbook ${known.version}.`;
	return months;
}

function drawAround(view) {
	const inside = (t) => dateOf(t) >= view.from && dateOf(t) <= view.to;
	if (known.days && known.outdoor)
		drawScatter($("weather-figure"), known.days, known.outdoor, inside, view.day, chooseDay);
	if (known.days && known.findings) {
		const ends = (list) => list.map((s) => ({from: s.since ?? s.from, to: s.until ?? s.to ?? Infinity, title: s.title}));
		drawCalendar($("known-figure"), known.days, ends(known.findings.findings), ends(known.findings.corrections),
			known.now, view.day, chooseDay);
	}
}

/* A year back from the shown span's end, or the span where it is longer. */
async function loadDays(view) {
	const back = view.from < addMonths(view.to, -12) ? view.from : addMonths(view.to, -12);
	const from = known.first && back < dateOf(known.first) ? dateOf(known.first) : back;
	const span = {from: startOf(from), to: startOf(addDays(view.to, 1)), step: "P1D"};
	const outdoor = byRole().outdoor_temperature?.name;
	const [days, series] = await Promise.all([ask("energy", {...span, boundary: view.boundary}),
		outdoor ? ask("series", {...span, channels: outdoor}) : null]);
	known.days = days;
	known.outdoor = {t: series?.columns.t ?? [], values: series?.columns[outdoor] ?? []};
}

function byRole() {
	const out = {};
	for (const [name, channel] of Object.entries(known.channels ?? {}))
		out[channel.role] ??= {name, ...channel};
	return out;
}

async function drawDayNow(view) {
	const day = {t: startOf(view.day), t_end: startOf(addDays(view.day, 1))};
	const roles = byRole();
	const wanted = ["flow_temperature", "return_temperature", "target_flow_temperature", "cylinder_temperature",
		"room_temperature", "outdoor_temperature", "flow_rate", "water_pressure"].filter((r) => roles[r]);
	$("day-date").value = view.day;
	const span = {from: day.t, to: day.t_end};
	const [series, energy, modes] = await Promise.all([
		wanted.length ? ask("series", {...span, step: "PT1M", values: "mean", channels: wanted.map((r) => roles[r].name).join(",")})
			: {columns: {t: []}},
		ask("energy", {...span, step: "PT1M", boundary: view.boundary,
			values: "heat_kwh,electricity_kwh,heat_observed_s,electricity_observed_s"}),
		ask("energy", {...span, step: "PT1M", by: "mode", boundary: view.boundary, values: "observed_s"})]);
	drawDay($("day-figure"), day, series, energy, modes, roles);
}

async function drawBoundaries(view, answered) {
	const offered = known.boundaries;
	$("boundary-label").hidden = offered.length < 2;
	$("boundary").replaceChildren(...offered.map((b) => make("option", {value: b, selected: b === answered}, b)));
}

async function drawPresent() {
	const now = await ask("now");
	const roles = byRole(), said = [];
	known.now = now.t;
	const value = (role, decimals, unit) => {
		const latest = roles[role] && now.channels[roles[role].name];
		return latest && latest.state === "fresh" ? `${number(latest.value, decimals)} ${unit}` : null;
	};
	said.push(clock(now.t));
	if (now.minute.mode)
		said.push(modeName(now.minute.mode));
	if (now.minute.heat_w !== null)
		said.push(`${number(now.minute.heat_w / 1000, 2)} kW of heat out`);
	if (now.minute.electricity_w !== null)
		said.push(`${number(now.minute.electricity_w / 1000, 2)} kW of electricity in`);
	for (const [role, words] of [["flow_temperature", "flow"], ["return_temperature", "return"],
		["outdoor_temperature", "outside"]])
		if (value(role, 1, "°C"))
			said.push(`${words} ${value(role, 1, "°C")}`);
	const last = Math.max(...Object.values(now.channels).map((c) => c.t ?? -Infinity));
	if (said.length === 1)
		said.push(last > 0 ? `last heard ${duration(now.t - last)} ago` : "nothing heard yet");
	$("present").textContent = said.join(" · ");
}

async function draw() {
	const view = shown();
	$("from").value = view.from;
	$("to").value = view.to;
	choices();
	const months = await drawLedgerNow(view);
	await drawBoundaries(view, months.boundary);
	await Promise.all([loadDays(view), drawDayNow(view)]);
	drawAround(view);
	known.findings = await ask("findings", {from: startOf(view.from), to: startOf(addDays(view.to, 1))});
	drawFindings($("findings-list"), known.findings);
	choices();
	drawAround(view);
}

async function begin() {
	const [channels, health] = await Promise.all([ask("channels"), ask("health")]);
	useZone(channels.zone);
	known.channels = channels.channels;
	known.boundaries = channels.boundaries;
	known.now = health.t;
	known.first = health.store.first_minute;
	known.last = health.store.last_minute || null;
	known.version = health.version;
	$("house").textContent = channels.plant;
	document.title = `${channels.plant} – heatbook`;
	await Promise.all([drawPresent(), draw()]);
}

async function guarded(work) {
	try {
		trouble(null);
		await work();
	} catch (error) {
		trouble(error);
	}
}

/* ---- what is clicked and typed ---- */

$("choose").addEventListener("submit", (e) => {
	e.preventDefault();
	if ($("from").value <= $("to").value)
		writeView({from: $("from").value, to: $("to").value});
});
$("boundary").addEventListener("change", () => writeView({boundary: $("boundary").value}));
$("day-date").addEventListener("change", () => $("day-date").value && writeView({day: $("day-date").value}));
$("day-before").addEventListener("click", () => writeView({day: addDays(shown().day, -1)}));
$("day-after").addEventListener("click", () => writeView({day: addDays(shown().day, 1)}));
$("token-form").addEventListener("submit", (e) => {
	e.preventDefault();
	useToken($("token").value, $("token-keep").checked);
	$("token-form").hidden = true;
	guarded(begin);
});
$("shade").addEventListener("click", () => {
	const dark = $("shade").getAttribute("aria-pressed") !== "true";
	setShade(dark);
	localStorage.setItem("heatbook-shade", dark ? "dark" : "light");
	guarded(draw);
});

function setShade(dark) {
	document.documentElement.dataset.shade = dark ? "dark" : "light";
	$("shade").setAttribute("aria-pressed", String(dark));
}

let before = {};
addEventListener("hashchange", () => {
	const view = readView(), same = ["from", "to", "boundary"].every((k) => view[k] === before[k]);
	before = view;
	guarded(same ? async () => {
		await drawDayNow(shown());
		drawAround(shown());
	} : draw);
});
setInterval(() => document.hidden || known.now && drawPresent().catch(trouble), PRESENT_MS);
before = readView();
setShade((localStorage.getItem("heatbook-shade") ?? (matchMedia("(prefers-color-scheme: dark)").matches ? "dark" : "light")) === "dark");
guarded(begin);
