/* What the day's lanes need, asked at once and kept, so that they can be drawn again. */
import {ask} from "./ask.js";
import {drawDay, LANE_ROLES} from "./lanes.js";
import {keepFocus} from "./table.js";
import {dayOf} from "./words.js";

const LATE_S = 360; /* modes by rule come three minutes late; that is no gap */

/* Until when the day is told: what is just closing is no gap. */
function toldUntil(day, columns, now) {
	let last = -1;
	for (let i = 0; i < columns.t.length; i++)
		if (columns.heat_observed_s[i] > 0 || columns.electricity_observed_s[i] > 0)
			last = i;
	const end = last < 0 ? day.t : columns.t_end[last];
	return Math.min(day.t_end, now - end < LATE_S && end > day.t ? end : now);
}

/* { day, series, energy, modes } of a local date; `before` is what was shown, whose cursor
 * and section stay where it is the same day. */
export async function loadDay(date, boundary, byRole, now, before) {
	const day = dayOf(date);
	const channels = LANE_ROLES.filter((r) => byRole[r]).map((r) => byRole[r].name).join(",");
	const span = {from: day.t, to: day.t_end, step: "PT1M"};
	const [series, energy, modes, runs] = await Promise.all([
		channels ? ask("series", {...span, values: "mean", channels}) : {columns: {t: []}},
		ask("energy", {...span, boundary, values: "heat_kwh,electricity_kwh,heat_observed_s,electricity_observed_s"}),
		ask("energy", {...span, by: "mode", boundary, values: "observed_s"}),
		ask("runs", {from: day.t, to: day.t_end})]);
	const same = before?.day.date === date; /* what was chosen meanwhile, too */
	day.view = same ? before.day.view : {t: day.t, t_end: day.t_end};
	day.at = same ? before.day.at : null;
	day.until = toldUntil(day, energy.columns, now);
	day.starts = runs.columns.t.filter((t, i) => runs.columns.truncated[i] === "no" || runs.columns.truncated[i] === "end");
	return {day, series, energy, modes};
}

/* The library of charts comes after the ledger: first what is read first. */
const library = globalThis.uPlot || document.readyState === "complete" ? null
	: new Promise((resolve) => addEventListener("load", resolve, {once: true}));

export async function showDay(where, loaded, byRole) {
	await library;
	await keepFocus(() => drawDay(where, loaded.day, loaded.series, loaded.energy, loaded.modes, byRole));
}
