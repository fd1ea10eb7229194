/* What is likely wrong, with its size, what it does to the season's figure, and a remedy. */
import {make} from "./table.js";
import {instant, number} from "./words.js";

function copyButton(text) {
	const button = make("button", {type: "button", async onclick() {
		await navigator.clipboard?.writeText(text);
		button.textContent = "Copied";
	}}, "Copy");
	return button;
}

const UNITS = {Cel: "°C", "%": "%", "kW.h": "kWh", "L/min": "L/min", W: "W", h: "h", min: "min", d: "days"};

function amount(f) {
	if (f.size === null)
		return null;
	return `${number(f.size, Math.abs(f.size) >= 100 ? 0 : 2)} ${UNITS[f.unit] ?? f.unit ?? ""}`.trim();
}

function effect(f) {
	if (f.effect === null)
		return null;
	return `it moves the season's heat for one of electricity by ${number(f.effect, 2)}`;
}

function span(f) {
	return `${f.since_before ? "before " : ""}${instant(f.since)}${f.lasts ? ", and it lasts" : `, until ${instant(f.until)}`}`;
}

function one(f) {
	const facts = [["Since", span(f)], ["How much", amount(f)], ["Weight", effect(f)], ["Seen by", f.evidence],
		["What helps", f.remedy]].filter(([, value]) => value);
	return make("article", {class: "finding"},
		make("h3", {}, `${f.title}${f.subject ? `: ${f.subject}` : ""}`),
		make("dl", {}, ...facts.flatMap(([name, value]) => [make("dt", {}, name), make("dd", {}, value)])),
		f.correction ? make("div", {class: "paste"}, make("pre", {tabindex: "0"}, f.correction), copyButton(f.correction)) : null);
}

export function drawFindings(where, answer) {
	if (!answer.findings.length) {
		where.replaceChildren(make("p", {}, `Nothing was found in the ${answer.days_looked_at} days that were looked at${
			answer.days > answer.days_looked_at ? ` (of ${answer.days})` : ""}.`));
		return;
	}
	where.replaceChildren(...answer.findings.map(one));
}
