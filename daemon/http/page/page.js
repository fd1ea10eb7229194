/* The parts of the page, drawn from the daemon's answers by what the address says, and kept
 * true by its stream. */
import {ask, headers, Refused, save, target, useToken} from "./ask.js";
import {drawCalendar} from "./calendar.js";
import {loadDay, showDay} from "./day.js";
import {drawFindings, drawNotices} from "./findings.js";
import {drawLedger} from "./ledger.js";
import {follow} from "./live.js";
import {boundaryWords, drawNotes} from "./notes.js";
import {drawPresent, heardWords} from "./present.js";
import {drawRuns, EVENTS, loadEvents, SPANS} from "./runs.js";
import {drawScatter} from "./scatter.js";
import {keepFocus, make} from "./table.js";
import {lastDate, readView, shown, spans, writeView} from "./view.js";
import {addDays, addMonths, DAY, dateOf, dayLong, dayOf, startOf, useZone} from "./words.js";

const $ = (id) => document.getElementById(id);
const PRESENT_MS = 20000, SOON_MS = 400, AGAIN_MS = 5000, RESIZE_MS = 150, HOUR_S = 3600;
const YEARS_FROM_S = 1130 * DAY, OPEN_MOST_S = 32 * DAY; /* lines of years; months that stand open at first */

const known = {roles: {}, boundaries: [], now: 0, first: null, last: null, following: null};
const ledger = {where: $("ledger-table"), open: new Set(), kept: new Map(), choose: chooseDay, load: loadLines};

/* ---- trouble ---- */

function trouble(error) {
	const refused = error instanceof Refused, wants_token = refused && error.status === 401;
	$("trouble").hidden = !error;
	if (!error)
		return;
	$("token-form").hidden = !wants_token;
	$("trouble").textContent = wants_token ? tokenWords() : refused ? `${error.message}.`
		: `heatbook cannot be reached just now (${error.message}). It is tried again.`;
	if (wants_token) {
		$("heard").textContent = "";
		$("token").focus();
	} else if (!(refused || error instanceof TypeError))
		console.error(error);
}

function tokenWords() {
	return headers().Authorization ? "That token is none of this heatbook's."
		: "This heatbook tells its figures to those who have one of its tokens. They stand in the file that token_file of [http] names.";
}

let again = null;

/* What fails since nobody answers is tried again later. */
async function guarded(work) {
	clearTimeout(again);
	try {
		trouble(null);
		await work();
	} catch (error) {
		trouble(error);
		if (error instanceof TypeError || error.status === 503)
			again = setTimeout(() => guarded(known.now ? draw : begin), AGAIN_MS);
	}
}

/* ---- the ledger ---- */

function span(view) {
	return {from: startOf(view.from), to: startOf(addDays(view.to, 1))};
}

function loadLines(step, from, to) {
	const view = shown(known), edge = span(view), key = `${step} ${from}`;
	if (!ledger.kept.has(key))
		ledger.kept.set(key, ask("energy", {from: Math.max(from, edge.from), to: Math.min(to, edge.to), step, by: "mode",
			boundary: view.boundary}));
	return ledger.kept.get(key);
}

async function drawLedgerNow(view) {
	const {from, to} = span(view), step = to - from > YEARS_FROM_S ? "P1Y" : "P1M";
	ledger.kept.clear();
	const answer = await ask("energy", {from, to, step, by: "mode", boundary: view.boundary});
	Object.assign(ledger, {answer, step, now: known.now});
	if (to - from <= OPEN_MOST_S && ledger.span !== `${from} ${to}`)
		answer.columns.t.forEach((t) => ledger.open.add(`${step} ${t}`));
	ledger.span = `${from} ${to}`;
	await drawLedger(ledger);
	drawNotes($("ledger-notes"), answer);
	$("as-csv").href = target("energy", {from, to, step, boundary: view.boundary, format: "csv"});
	$("boundary-label").hidden = known.boundaries.length < 2;
	$("boundary").replaceChildren(...known.boundaries.map((b) => make("option", {value: b, selected: b === answer.boundary,
		title: boundaryWords(b)}, b)));
	$("about").replaceChildren(`${answer.boundary ? `Figures at boundary ${answer.boundary}; ` : ""}± is the expanded uncertainty, k = 2. heatbook ${
		known.version}, its resources `, make("a", {href: "openapi.json"}, "as a contract"), ".");
	$("statement").textContent = `${known.plant}: ${dayLong(from)} through ${dayLong(to - 1)}. Printed on ${dayLong(Date.now() / 1000)} from heatbook ${known.version}${
		answer.older_mapping_days ? "" : ", all days by one configuration"}.`;
}

function drawSpans(view) {
	const named = spans(known), held = named.find(([, from, to]) => view.from === from && view.to === to);
	keepFocus(() => $("spans").replaceChildren(...named.map((s) => make("button", {type: "button",
		"data-key": `span ${s[0]}`, "aria-pressed": String(s === held), onclick: () => writeView({from: s[1], to: s[2]})}, s[0]))));
}

/* ---- days ---- */

function chooseDay(day) {
	writeView({day});
	goTo("day");
}

/* The first date of what is drawn day by day: a year back from the shown span's end, or the
 * span's own where it is longer. */
function firstAround(view) {
	const year = addMonths(view.to, -12);
	return view.from < year ? view.from : year;
}

async function loadDays(view) {
	const back = firstAround(view), first = known.first ? dateOf(known.first) : back;
	const asked = {from: startOf(back > first ? back : first), to: span(view).to, step: "P1D"};
	const outdoor = known.roles.outdoor_temperature?.name;
	const [days, series] = await Promise.all([
		ask("energy", {...asked, boundary: view.boundary, values: "heat_kwh,cop,cop_uncertainty,paired_s"}),
		outdoor ? ask("series", {...asked, channels: outdoor, values: "mean"}) : null]);
	known.days = days;
	known.outdoor = {t: series?.columns.t ?? [], values: series?.columns[outdoor] ?? []};
}

function drawAround(view) {
	if (!known.days)
		return;
	const edge = span(view), inside = (t) => t >= edge.from && t < edge.to;
	const ends = (list) => (list ?? []).map((s) => ({from: s.since ?? s.from, to: s.until ?? s.to ?? Infinity, title: s.title}));
	keepFocus(() => {
		drawScatter($("weather-figure"), known.days, known.outdoor, inside, view.day, chooseDay);
		drawCalendar($("known-figure"), known.days, ends(known.findings?.findings), ends(known.findings?.corrections),
			known.now, view.day, chooseDay);
	});
}

async function drawDayNow(view) {
	$("day-date").value = view.day;
	const loaded = await loadDay(view.day, view.boundary, known.roles, known.now, known.day);
	if (shown(known).day !== view.day)
		return; /* another was chosen meanwhile */
	known.day = loaded;
	await drawLanes();
}

/* A day that is on its way is drawn when it comes. */
async function drawLanes() {
	if (known.day?.series)
		await showDay($("day-figure"), known.day, known.roles);
}

async function drawRunsNow(view) {
	const events = EVENTS.find(([e]) => e === view.events) ?? EVENTS[0], of = SPANS.find(([s]) => s === view.of) ?? SPANS[0];
	const answer = await loadEvents(events[0], view.day, of[2], view.boundary);
	await drawRuns($("runs-list"), $("runs-spans"), answer, events, of, writeView, showMinute);
}

/* The lanes at an instant, of whatever day it is. */
async function showMinute(t) {
	const date = dateOf(t);
	if (known.day?.day.date === date) {
		known.day.day.at = t;
		await drawLanes();
	} else {
		known.day = {day: {date, at: t, view: dayOf(date)}};
		writeView({day: date});
	}
	goTo("day");
}

async function drawFindingsNow(view) {
	known.findings = await ask("findings", span(view));
	known.looked = known.now;
	known.season_start = known.findings.season_start;
	drawFindings($("findings-list"), known.findings);
	drawSpans(view);
	drawAround(view);
}

async function drawNoticesNow() {
	drawNotices($("notices"), await ask("notices", {last: "P1D"}));
}

/* ---- behind the numbers ---- */

/* What is far down, or on paper alone, is loaded when the rest is there. */
async function drawBehindNow(view) {
	const {drawBehind} = await import("./behind.js"), {from, to} = span(view), year = startOf(firstAround(view));
	drawBehind($("behind-parts"), {spans: {span: {from, to}, year: {from: year, to}}, boundary: view.boundary, choose: chooseDay, failed: trouble});
}

/* ---- all of it ---- */

/* A part that fails takes none of the others with it; what failed first is told. */
async function draw() {
	const view = shown(known), faults = [], part = (work) => work.catch((error) => faults.push(error));
	$("from").value = view.from;
	$("to").value = view.to;
	drawSpans(view);
	await part(drawLedgerNow(view));
	await Promise.all([loadDays(view).then(() => drawAround(view)), drawDayNow(view), drawRunsNow(view)].map(part));
	await Promise.all([drawFindingsNow(view), drawNoticesNow()].map(part));
	await part(drawBehindNow(view));
	if (faults.length)
		throw faults[0];
	known.drawn = lastDate(known);
}

async function drawPresentNow() {
	const now = await ask("now");
	known.now = now.t;
	known.present = now;
	drawPresent($("present"), now, known.roles);
	sayHeard();
}

function sayHeard() {
	const words = heardWords({...known.present, t: known.now}, known.following, known.broker,
		!known.first);
	if ($("heard").textContent !== words)
		$("heard").textContent = words;
}

async function begin() {
	const [channels, health] = await Promise.all([ask("channels"), ask("health")]);
	useZone(channels.zone);
	for (const [name, channel] of Object.entries(channels.channels))
		known.roles[channel.role] ??= {name, ...channel};
	Object.assign(known, {plant: channels.plant, boundaries: channels.boundaries, now: health.t, version: health.version,
		broker: health.broker, first: health.store.first_minute || null, last: health.store.last_minute || null});
	$("house").textContent = channels.plant;
	document.documentElement.dataset.begun = "";
	document.title = `${channels.plant} – heatbook`;
	stream.start();
	await Promise.all([drawPresentNow(), draw()]);
}

/* ---- what changes meanwhile ---- */

const due = new Set();
let working = false, soon = null;

/* Parts that are to be asked again; together, and one after the other. */
function renew(...parts) {
	parts.forEach((p) => due.add(p));
	soon ??= setTimeout(async () => {
		soon = null;
		if (working)
			return;
		working = true;
		await guarded(async () => {
			while (due.size && !document.hidden) {
				const parts = new Set(due), view = shown(known);
				due.clear();
				if (parts.has("present"))
					await drawPresentNow();
				if (known.drawn && lastDate(known) !== known.drawn) { /* another day has begun */
					await draw();
					continue;
				}
				if (parts.has("ledger"))
					await drawLedgerNow(view);
				if (parts.has("day"))
					await Promise.all([drawDayNow(view), drawRunsNow(view)]);
				if (parts.has("days"))
					await loadDays(view).then(() => drawAround(view));
				if (parts.has("findings"))
					await drawFindingsNow(view);
				if (parts.has("findings") || parts.has("notices"))
					await drawNoticesNow();
			}
		});
		working = false;
	}, SOON_MS);
}

function changed(from, to) {
	const view = shown(known), edge = span(view), day = dayOf(view.day);
	if (from < edge.to && to > edge.from)
		renew("ledger");
	if (from < day.t_end && to > day.t)
		renew("day");
	if (from < edge.to && to > startOf(firstAround(view)))
		renew("days");
}

const stream = follow({
	minute(m) {
		const first = !known.first;
		known.first ??= m.t;
		known.last = Math.max(known.last ?? 0, m.t);
		known.now = Math.max(known.now, m.t_end);
		renew("present");
		changed(m.t, m.t_end);
		if (first)
			guarded(draw);
	},
	revised: ({from, to}) => changed(from, to),
	notices: () => renew("notices"),
	state(word, error) {
		known.following = word === "live";
		if (known.present)
			sayHeard();
		if (word === "refused" && error.status === 401)
			trouble(error);
		if (word === "live")
			trouble(null);
	},
});

document.addEventListener("visibilitychange", () => {
	if (!known.now)
		return;
	if (document.hidden)
		stream.stop();
	else {
		stream.start();
		renew("present", "ledger", "day", "days", ...known.now - known.looked > HOUR_S ? ["findings"] : []);
	}
});

setInterval(() => {
	if (document.hidden || !known.present)
		return;
	known.now += PRESENT_MS / 1000;
	if (known.following)
		sayHeard();
	else
		drawPresentNow().catch(trouble);
}, PRESENT_MS);

/* ---- what is clicked and typed ---- */

/* Fragments hold the view, so that links to parts go there by hand. */
function goTo(id) {
	$(id).scrollIntoView({block: "start"});
	$(`${id}-title`).focus({preventScroll: true});
}

for (const link of document.querySelectorAll("[data-to]"))
	link.addEventListener("click", (e) => {
		e.preventDefault();
		goTo(link.dataset.to);
	});
$("choose").addEventListener("submit", (e) => {
	e.preventDefault();
	const [from, to] = [$("from").value, $("to").value].sort();
	writeView({from, to});
});
$("boundary").addEventListener("change", () => writeView({boundary: $("boundary").value}));
$("day-date").addEventListener("change", () => $("day-date").value && writeView({day: $("day-date").value}));
$("day-before").addEventListener("click", () => writeView({day: addDays(shown(known).day, -1)}));
$("day-after").addEventListener("click", () => writeView({day: addDays(shown(known).day, 1)}));
$("print").addEventListener("click", () => guarded(async () => {
	const view = shown(known), {drawSheet} = await import("./sheet.js");
	drawSheet($("sheet"), await ask("statement", {...span(view), boundary: view.boundary}));
	print();
}));
addEventListener("beforeprint", () => document.querySelectorAll("#ledger details:not([open])").forEach((d) => {
	d.open = true;
	addEventListener("afterprint", () => d.removeAttribute("open"), {once: true});
}));
$("as-csv").addEventListener("click", (e) => {
	if (headers().Authorization) {
		e.preventDefault();
		guarded(() => save($("as-csv"), "heatbook.csv"));
	}
});
$("token-form").addEventListener("submit", (e) => {
	e.preventDefault();
	useToken($("token").value.trim(), $("token-keep").checked);
	$("token-form").hidden = true;
	guarded(begin);
});

const dark = matchMedia("(prefers-color-scheme: dark)");

function setShade() {
	const shade = localStorage.getItem("heatbook-shade") ?? (dark.matches ? "dark" : "light");
	document.documentElement.dataset.shade = shade;
	$("shade").setAttribute("aria-pressed", String(shade === "dark"));
	drawLanes();
}

dark.addEventListener("change", setShade);
$("shade").addEventListener("click", () => {
	localStorage.setItem("heatbook-shade", $("shade").getAttribute("aria-pressed") === "true" ? "light" : "dark");
	setShade();
});

let before = readView();
addEventListener("hashchange", () => {
	const view = readView(), differs = (...names) => names.some((n) => view[n] !== before[n]);
	const all = differs("from", "to", "boundary"), day = differs("day"), runs = differs("events", "of");
	before = view;
	if (!known.now || !(all || day || runs))
		return;
	guarded(async () => {
		const now = shown(known);
		if (all)
			await draw();
		else {
			if (day)
				drawAround(now);
			await Promise.all([day ? drawDayNow(now) : null, drawRunsNow(now)]);
		}
	});
});

let width = document.body.clientWidth, resized = null;
new ResizeObserver(() => {
	if (Math.abs(document.body.clientWidth - width) < 8)
		return;
	width = document.body.clientWidth;
	clearTimeout(resized);
	resized = setTimeout(() => {
		drawAround(shown(known));
		drawLanes();
	}, RESIZE_MS);
}).observe(document.body);

setShade();
guarded(begin);
