/* What is shown is said by the address's fragment, so that a view can be kept: from, to,
 * boundary, day, and which runs. */
import {addDays, addMonths, dateOf, isDate} from "./words.js";

const NAMES = ["from", "to", "day", "boundary", "events", "of"];

export function readView() {
	const p = new URLSearchParams(location.hash.slice(1));
	return Object.fromEntries(NAMES.map((name) => {
		const value = p.get(name);
		return [name, ["from", "to", "day"].includes(name) && !isDate(value ?? "") ? null : value];
	}));
}

export function writeView(change) {
	const p = new URLSearchParams();
	for (const [name, value] of Object.entries({...readView(), ...change}))
		if (value)
			p.set(name, value);
	location.hash = p.toString();
}

/* The last date with anything to see: a day that has just begun has nothing yet. */
export function lastDate(known) {
	const end = known.last && known.last < known.now ? known.last + 60 : known.now;
	return dateOf(Math.max(end - 3600, known.first ?? 0));
}

function firstDate(known) {
	return known.first ? dateOf(known.first) : null;
}

/* The dates that are shown, both with. */
export function shown(known) {
	const view = readView(), last = lastDate(known), first = firstDate(known);
	const to = view.to ?? last, year = addMonths(to, -11);
	return {...view, from: view.from ?? (first && first > year && first <= to ? first : year), to, day: view.day ?? last};
}

/* Named spans: [name, from, to]. */
export function spans(known) {
	const last = lastDate(known), [month, day] = (known.season_start ?? "07-01").split("-");
	const begun = last.slice(5) >= `${month}-${day}`;
	const season = `${begun ? last.slice(0, 4) : last.slice(0, 4) - 1}-${month}-${day}`;
	return [["two weeks", addDays(last, -13), last], ["this month", `${last.slice(0, 7)}-01`, last],
		["this season", season, last], ["all", firstDate(known) ?? season, last]];
}
