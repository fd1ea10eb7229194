/* The line of the present: the latest values that hold, and how old they are. */
import {make, pairs} from "./table.js";
import {absent, clock, dateOf, dayName, duration, modeName, number, unitWords} from "./words.js";

const SHOWN = [["flow_temperature", "flow", 1], ["return_temperature", "return", 1], ["outdoor_temperature", "outside", 1],
	["cylinder_temperature", "cylinder", 1]];

/* When anything was last heard, or null. */
function lastHeard(now) {
	const times = Object.values(now.channels).map((c) => c.t).filter((t) => !absent(t));
	return times.length ? Math.max(...times) : null;
}

function facts(now, byRole) {
	const said = [], m = now.minute ?? {};
	if (m.mode)
		said.push(["mode", modeName(m.mode)]);
	if (!absent(m.heat_w))
		said.push(["heat", `${number(m.heat_w / 1000, 2)} kW`, "heat"]);
	if (!absent(m.electricity_w))
		said.push(["electricity", `${number(m.electricity_w / 1000, 2)} kW`, "electricity"]);
	for (const [role, words, decimals] of SHOWN) {
		const latest = byRole[role] && now.channels[byRole[role].name];
		if (latest?.state === "fresh")
			said.push([words, `${number(latest.value, decimals)} ${unitWords(latest.unit)}`]);
	}
	return said;
}

export function drawPresent(where, now, byRole) {
	const said = facts(now, byRole);
	where.replaceChildren(said.length ? pairs([["at", clock(now.t)], ...said])
		: make("p", {class: "empty"}, "No value holds at present."));
}

/* following: whether the stream is open; null: not known yet. */
export function heardWords(now, following, broker, empty) {
	const last = lastHeard(now), live = following === null ? "" : following ? "Live: each minute as it closes. "
		: "The stream is lost and will be taken up again. ";
	if (last === null)
		return broker?.configured ? `${live}Nothing heard since the daemon's start (broker: ${broker.state}${
			broker.cause ? `, ${broker.cause}` : ""}).` : `No broker is configured: ${
			empty ? "nothing comes by itself, and nothing was imported yet" : "this is what was imported"}.`;
	const age = now.t - last;
	const when = dateOf(last) === dateOf(now.t) ? clock(last) : `${dayName(last)}, ${clock(last)}`;
	return age > 150 ? `Last heard ${when}, ${duration(age)} ago.` : `${live}Last heard ${when}.`;
}
