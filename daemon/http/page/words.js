/* Numbers, instants and days in words. All days are those of the plant's zone. */

export const MINUTE = 60;
export const DAY = 86400;

const made = new Map();

function formatter(key, make) {
	if (!made.has(key))
		made.set(key, make());
	return made.get(key);
}

export function number(value, decimals) {
	if (value === null || value === undefined)
		return "–";
	const f = formatter(`n${decimals}`, () => new Intl.NumberFormat("en-GB",
		{minimumFractionDigits: decimals, maximumFractionDigits: decimals}));
	return f.format(value).replace("-", "−");
}

/* Three digits that count; a kilowatt-hour more or less does not in a hundred of them. */
export function energy(kwh) {
	if (kwh === null || kwh === undefined)
		return "–";
	const size = Math.abs(kwh);
	return number(kwh, size >= 100 ? 0 : size >= 10 ? 1 : 2);
}

export function ratio(value, half) {
	if (value === null || value === undefined)
		return "–";
	return half === null || half === undefined ? number(value, 2)
		: `${number(value, 2)} ± ${number(half, 2)}`;
}

/* A share of time, never rounded up to the whole. */
export function percent(share) {
	const value = share * 100;
	if (share < 1 && value > 99.9)
		return "99.9 %";
	return `${number(value, share === 1 || value >= 99.95 ? 0 : 1)} %`;
}

export function duration(seconds) {
	const minutes = Math.round(seconds / MINUTE);
	if (minutes < 120)
		return `${minutes} min`;
	if (minutes < 2880)
		return `${Math.floor(minutes / 60)} h ${String(minutes % 60).padStart(2, "0")} min`;
	return `${number(minutes / 1440, 1)} days`;
}

/* ---- the plant's zone ---- */

let zone = "UTC";

export function useZone(name) {
	zone = name;
}

function parts(t) {
	const f = formatter(`p${zone}`, () => new Intl.DateTimeFormat("en-CA", {timeZone: zone,
		hourCycle: "h23", year: "numeric", month: "2-digit", day: "2-digit", hour: "2-digit",
		minute: "2-digit", second: "2-digit"}));
	const out = {};
	for (const p of f.formatToParts(t * 1000))
		out[p.type] = p.value;
	return out;
}

/* "2026-03-29" of an instant. */
export function dateOf(t) {
	const p = parts(t);
	return `${p.year}-${p.month}-${p.day}`;
}

/* Seconds that local time is ahead of UTC. */
export function offsetAt(t) {
	const p = parts(t);
	const local = Date.UTC(+p.year, p.month - 1, +p.day, +p.hour, +p.minute, +p.second) / 1000;
	return local - Math.floor(t);
}

/* The instant at which a local date begins. */
export function startOf(date) {
	const local = Date.parse(`${date}T00:00:00Z`) / 1000;
	let t = local - offsetAt(local);
	t = local - offsetAt(t);
	/* Where midnight is skipped the day begins with the next instant there is. */
	return dateOf(t) < date ? t + 3600 : t;
}

/* Calendar arithmetic on dates as text. */
export function addDays(date, days) {
	return new Date(Date.parse(`${date}T00:00:00Z`) + days * DAY * 1000).toISOString().slice(0, 10);
}

export function addMonths(date, months) {
	const d = new Date(`${date.slice(0, 7)}-01T00:00:00Z`);
	d.setUTCMonth(d.getUTCMonth() + months);
	return d.toISOString().slice(0, 10);
}

export function isDate(text) {
	return /^\d{4}-\d{2}-\d{2}$/.test(text) && !Number.isNaN(Date.parse(`${text}T00:00:00Z`));
}

export function clock(t) {
	const p = parts(t);
	return `${p.hour}:${p.minute}`;
}

/* With the offset where a day has the hour twice or not at all. */
export function clockOfDay(t, t_begin) {
	const offset = offsetAt(t);
	if (offset === offsetAt(t_begin))
		return clock(t);
	const sign = offset < 0 ? "−" : "+";
	return `${clock(t)} (UTC${sign}${number(Math.abs(offset) / 3600, offset % 3600 ? 1 : 0)})`;
}

export function dayName(t) {
	const f = formatter(`d${zone}`, () => new Intl.DateTimeFormat("en-GB",
		{timeZone: zone, weekday: "short", day: "numeric", month: "short", year: "numeric"}));
	return f.format(t * 1000);
}

export function monthName(t) {
	const f = formatter(`m${zone}`, () => new Intl.DateTimeFormat("en-GB",
		{timeZone: zone, month: "long", year: "numeric"}));
	return f.format(t * 1000);
}

export function instant(t) {
	return `${dayName(t)}, ${clock(t)}`;
}

export const MODES = [
	["heating", "space heating"], ["hot_water", "hot water"], ["defrost", "defrost"],
	["cooling", "cooling"], ["overrun", "overrun"], ["freeze_protection", "freeze protection"],
	["standby", "standby"], ["unassigned", "no mode known"],
];

export function modeName(mode) {
	const found = MODES.find(([name]) => name === mode);
	return found ? found[1] : mode.replaceAll("_", " ");
}
