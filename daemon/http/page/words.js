/* Numbers, instants and days in words. All days are those of the plant's zone. */

const MINUTE = 60;
export const DAY = 86400;

const made = new Map();

function formatter(key, make) {
	if (!made.has(key))
		made.set(key, make());
	return made.get(key);
}

export const absent = (value) => value === null || value === undefined;

export function number(value, decimals) {
	if (absent(value))
		return "–";
	const f = formatter(`n${decimals}`, () => new Intl.NumberFormat("en-GB",
		{minimumFractionDigits: decimals, maximumFractionDigits: decimals}));
	const text = f.format(value);
	return /^-[0.,]*$/.test(text) ? text.slice(1) : text.replace("-", "−"); /* no minus before nothing */
}

/* Of what is known; null where nothing is. */
export function sum(values) {
	const known = values.filter((v) => v !== null);
	return known.length ? known.reduce((a, b) => a + b, 0) : null;
}

/* One place after the point everywhere, so that columns line up. */
export function energy(kwh) {
	return number(kwh, 1);
}

export function ratio(value, half) {
	if (absent(value))
		return "–";
	return absent(half) ? number(value, 2) : `${number(value, 2)} ± ${number(half, 2)}`;
}

/* A share of time, never rounded up to the whole nor down to nothing. */
export function percent(share) {
	const value = Math.max(0, Math.min(1, share)) * 100;
	if (value > 99.9 && value < 100)
		return "99.9 %";
	if (value > 0 && value < 0.1)
		return "< 0.1 %";
	return `${number(value, value === 100 || value === 0 ? 0 : 1)} %`;
}

export function duration(seconds) {
	const minutes = Math.round(seconds / MINUTE);
	if (seconds > 0 && minutes === 0)
		return `${Math.ceil(seconds)} s`;
	if (minutes < 120)
		return `${minutes} min`;
	if (minutes < 2880)
		return `${Math.floor(minutes / 60)} h ${String(minutes % 60).padStart(2, "0")} min`;
	return `${number(minutes / 1440, 1)} days`;
}

/* UCUM codes as people write them. */
export function unitWords(unit) {
	return {Cel: "°C", "kW.h": "kWh", "kW.h/d": "kWh a day", "K-1": "for each K", d: "days", "1": ""}[unit] ?? unit;
}

/* ---- the plant's zone ---- */

let zone = "UTC";

export function useZone(name) {
	zone = name;
}

function localParts(t) {
	const f = formatter(`p${zone}`, () => new Intl.DateTimeFormat("en-CA", {timeZone: zone,
		hourCycle: "h23", year: "numeric", month: "2-digit", day: "2-digit", hour: "2-digit",
		minute: "2-digit", second: "2-digit"}));
	const out = {};
	for (const p of f.formatToParts(t * 1000))
		out[p.type] = p.value;
	return out;
}

/* Seconds that local time is ahead of UTC; it changes at quarters of an hour alone. */
export function offsetAt(t) {
	const quarter = Math.floor(t / 900) * 900;
	return formatter(`o${zone}${quarter}`, () => {
		const p = localParts(quarter);
		return Date.UTC(+p.year, p.month - 1, +p.day, +p.hour, +p.minute, +p.second) / 1000 - quarter;
	});
}

function local(t) {
	return new Date((t + offsetAt(t)) * 1000).toISOString();
}

/* "2026-03-29" of an instant. */
export function dateOf(t) {
	return local(t).slice(0, 10);
}

/* The instant at which a local date begins. */
export function startOf(date) {
	const local = Date.parse(`${date}T00:00:00Z`) / 1000;
	let t = local - offsetAt(local);
	t = local - offsetAt(t);
	/* Where midnight is skipped the day begins with the next instant there is. */
	return dateOf(t) < date ? t + 3600 : t;
}

/* A local date's day: {date, t, t_end}. */
export function dayOf(date) {
	return {date, t: startOf(date), t_end: startOf(addDays(date, 1))};
}

/* The instant within [from, to) at which local time jumps, or null. */
export function jumpIn(from, to) {
	let low = from, high = to;
	if (offsetAt(low) === offsetAt(high))
		return null;
	while (high - low > MINUTE) {
		const middle = Math.floor((low + high) / 2 / MINUTE) * MINUTE;
		if (offsetAt(middle) === offsetAt(from))
			low = middle;
		else
			high = middle;
	}
	return high;
}

/* Calendar arithmetic on dates as text. */
export function addDays(date, days) {
	return new Date(Date.parse(`${date}T00:00:00Z`) + days * DAY * 1000).toISOString().slice(0, 10);
}

/* The first of a month so many months on. */
export function addMonths(date, months) {
	const d = new Date(`${date.slice(0, 7)}-01T00:00:00Z`);
	d.setUTCMonth(d.getUTCMonth() + months);
	return d.toISOString().slice(0, 10);
}

export function isDate(text) {
	return /^\d{4}-\d{2}-\d{2}$/.test(text) && !Number.isNaN(Date.parse(`${text}T00:00:00Z`));
}

export function clock(t) {
	return local(t).slice(11, 16);
}

export function offsetWords(t) {
	const offset = offsetAt(t), minutes = Math.abs(offset) / 60;
	const more = minutes % 60 ? `:${String(minutes % 60).padStart(2, "0")}` : "";
	return `UTC${offset < 0 ? "−" : "+"}${Math.floor(minutes / 60)}${more}`;
}

/* With the offset on a day that has the hour twice or not at all. */
export function clockOfDay(t, day) {
	return offsetAt(day.t) === offsetAt(day.t_end - 1) ? clock(t) : `${clock(t)} ${offsetWords(t)}`;
}

function dated(key, options) {
	return (t) => formatter(`${key}${zone}`, () => new Intl.DateTimeFormat("en-GB", {timeZone: zone, ...options}))
		.format(t * 1000);
}

export const dayName = dated("d", {weekday: "short", day: "numeric", month: "short", year: "numeric"});
export const dayLong = dated("l", {weekday: "long", day: "numeric", month: "long", year: "numeric"});
export const dayOfMonth = dated("s", {weekday: "short", day: "numeric", month: "short"});
export const monthName = dated("m", {month: "long", year: "numeric"});
export const monthShort = dated("n", {month: "short", year: "2-digit"});
export const yearName = dated("y", {year: "numeric"});

export function instant(t) {
	return `${dayName(t)}, ${clock(t)}`;
}

/* A name as resources give it, in words. */
export function plain(name) {
	return name.replaceAll("_", " ");
}

export const MODES = [
	["heating", "space heating"], ["hot_water", "hot water"], ["defrost", "defrost"],
	["cooling", "cooling"], ["overrun", "overrun"], ["freeze_protection", "freeze protection"],
	["standby", "standby"], ["unassigned", "no mode known"],
];

export function modeName(mode) {
	const found = MODES.find(([name]) => name === mode);
	return found ? found[1] : plain(mode);
}
