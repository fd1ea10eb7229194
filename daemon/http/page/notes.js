/* What the figures rest on, as sentences: boundary, uncertainty, fluid, corrections, estimates. */
import {SPLIT} from "./ledger.js";
import {make, table} from "./table.js";
import {absent, energy, instant, modeName, number, plain, sum, unitWords} from "./words.js";

/* The boundaries of the field (H1 to H4, after the SEPEMO project's SPF definitions). */
const BOUNDARIES = {
	H1: "the heat pump without the fan or pump of its source",
	H2: "the heat pump with the fan or pump of its source",
	H3: "the heat pump and its back-up and immersion heaters",
	H4: "the heat pump, its back-up and immersion heaters and the pumps that take the heat into the house",
};

export function boundaryWords(boundary) {
	const [base, ...more] = boundary.split("+");
	return `${BOUNDARIES[base] ?? base}${more.length ? `, with ${more.map(plain).join(" and ")}` : ""}`;
}

function limitWords(limits) {
	const said = [];
	if (!absent(limits.pair_k))
		said.push(`temperature pair ±${number(limits.pair_k, 2)} K${limits.pair_percent
			? ` and ${number(limits.pair_percent, 1)} %` : ""}`);
	if (!absent(limits.flow_percent))
		said.push(`flow ±${number(limits.flow_percent, 1)} %`);
	for (const [meter, p] of Object.entries(limits.meters_percent ?? {}))
		said.push(`meter ${meter} ±${number(p, 1)} %`);
	return said.join(", ");
}

function uncertaintyWords(u) {
	if (absent(u?.cop))
		return null;
	return `Behind ± stands the expanded uncertainty (k = ${u.coverage_factor}) of the instruments, which a longer span makes no smaller: ${
		limitWords(u.limits)}. Of ±${number(u.cop, 2)} for the whole span the largest part is the ${u.largest_term}'s.`;
}

/* Quotients of sums over the time that both were known for. */
function useWords(answer) {
	const said = [];
	for (const mode of SPLIT) {
		const c = answer.modes?.[mode];
		if (!c || mode === "defrost" || c.no_cop_because.some((why) => why && /spread/.test(why)))
			continue;
		const heat = sum(c.paired_heat_kwh), electricity = sum(c.paired_electricity_kwh);
		if (electricity >= answer.least_denominator_kwh)
			said.push(`${modeName(mode)} took ${energy(electricity)} kWh and gave ${number(heat / electricity, 2)} for one`);
	}
	return said.length ? `By use, where all was known: ${said.join("; ")}.` : null;
}

function meterWords(answer) {
	const meters = Object.entries(answer.meters ?? {}).filter(([, c]) => c.electricity_kwh.some((v) => v !== null));
	if (meters.length < 2)
		return null;
	return `Electricity by meter: ${meters.map(([name, c]) =>
		`${name} ${energy(sum(c.electricity_kwh))} kWh`).join(", ")}.`;
}

function change(c) {
	const said = [];
	if (c.factor !== 1)
		said.push(`times ${number(c.factor, 3)}`);
	if (c.offset !== 0)
		said.push(`${c.offset > 0 ? "plus" : "minus"} ${number(Math.abs(c.offset), 2)} ${
			c.offset_unit === "Cel" ? "K" : unitWords(c.offset_unit)}`);
	return said.join(", ") || "as it came";
}

function correctionWords(c) {
	return `Corrected from ${instant(c.from)}${c.to === null ? " on" : ` to ${instant(c.to)}`}: ${c.channel}, ${change(c)} (${c.name}).`;
}

function estimateWords(e) {
	return `Estimated${e.counted ? "" : ", and not in the sums"}: ${plain(e.quantity)}${
		e.meter ? ` of meter ${e.meter}` : ""}, ${e.why}.`;
}

function sentences(answer) {
	const t = answer.total, unknown = t.t_end - t.t - t.paired_s;
	return [
		answer.boundary ? `Counted at boundary ${answer.boundary}: ${boundaryWords(answer.boundary)}.`
			: "No meter of electricity is configured: heat alone is told.",
		"Heat for one of electricity (COP; of a season SPF) is the quotient of what was given and taken while both were known; "
			+ "heat that a defrost draws from the house is taken off.",
		unknown >= 60 && t.t_end > t.t ? null : "Both were known all the time.",
		useWords(answer),
		uncertaintyWords(answer.uncertainty),
		meterWords(answer),
		answer.fluid ? `The circuit holds ${plain(answer.fluid.name)}${answer.fluid.name === "water" ? ""
			: `, ${number(answer.fluid.volume_percent, 0)} % by volume`}.` : null,
		...(answer.corrections ?? []).map(correctionWords),
		...(answer.estimated ?? []).map(estimateWords),
		answer.older_mapping_days > 0
			? `${answer.older_mapping_days} days were made by an earlier configuration; heatbookd rebuild makes them anew.` : null,
		answer.note ?? null,
	];
}

/* The parts that ± is made of, the largest first. */
function terms(u) {
	if (absent(u?.cop))
		return null;
	const rows = [...u.terms].sort((a, b) => b.cop - a.cop).map((t) => [t.term, energy(t.heat_kwh), energy(t.electricity_kwh), number(t.cop, 3)]);
	rows.push(["together, as they are independent", energy(u.heat_kwh), energy(u.electricity_kwh), number(u.cop, 3)]);
	return make("details", {}, make("summary", {}, "What ± is made of"), make("div", {class: "wide"},
		table("Expanded uncertainty (k = 2) of the whole span, by what it comes from",
			["From", "Heat, ± kWh", "Electricity, ± kWh", "Heat for one of electricity, ±"], rows)));
}

export function drawNotes(where, answer) {
	const open = where.querySelector("details")?.open, parts = terms(answer.uncertainty), limits = uncertaintyWords(answer.uncertainty);
	where.replaceChildren(make("ul", {class: "notes"}, ...sentences(answer).filter(Boolean).map((s) =>
		make("li", {class: s === limits ? "limits" : null}, s))), parts ?? "");
	if (parts && open)
		parts.open = true;
}
