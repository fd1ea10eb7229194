/* What is likely wrong, with its size, what it does to the season's figure, and a remedy. */
import {make} from "./table.js";
import {instant, number, plain, unitWords} from "./words.js";

/* Where the browser gives no clipboard (a page that did not come over TLS nor from this
 * machine), the text is marked, so that it can be copied by key. */
function copyButton(text, box) {
	const button = make("button", {type: "button", async onclick() {
		try {
			await navigator.clipboard.writeText(text);
			button.textContent = "Copied";
		} catch {
			getSelection().selectAllChildren(box);
			button.textContent = "Marked: copy it by key";
		}
	}}, "Copy");
	return button;
}

const MORE_UNITS = {min: "min", h: "h", d: "days"};

function amount(f) {
	if (f.size === null)
		return null;
	return `${number(f.size, Number.isInteger(f.size) ? 0 : Math.abs(f.size) >= 100 ? 0 : 2)} ${
		MORE_UNITS[f.unit] ?? unitWords(f.unit) ?? ""}`.trim();
}

function effect(f) {
	if (f.effect === null)
		return null;
	return `moves the season's heat for one of electricity by ${number(f.effect, 2)}`;
}

function span(f) {
	return `${f.since_before ? "before " : ""}${instant(f.since)}${f.lasts ? ", and it lasts" : `, until ${instant(f.until)}`}`;
}

function paste(text) {
	const box = make("pre", {tabindex: "0", role: "group", "aria-label": "A section for the configuration"}, text);
	return make("div", {class: "paste"}, box, copyButton(text, box));
}

function one(f) {
	const facts = [["Since", span(f)], ["How much", amount(f)], ["Weight", effect(f)], ["Seen by", f.evidence],
		["What helps", f.remedy]].filter(([, value]) => value);
	return make("article", {class: "finding"},
		make("h3", {}, `${f.title}${f.subject ? `: ${f.subject}` : ""}`),
		make("dl", {}, ...facts.flatMap(([name, value]) => [make("dt", {}, name), make("dd", {}, value)])),
		f.correction ? paste(f.correction) : null);
}

/* What stands raised; `where` is gone while nothing does. */
export function drawNotices(where, answer) {
	const raised = answer.notices.filter((n) => n.raised);
	where.hidden = raised.length === 0;
	where.replaceChildren(...raised.map((n) => make("li", {}, n.text || plain(n.name), make("span", {class: "since"},
		` ${n.since_before ? "since before" : "since"} ${instant(n.since)}${n.unit && n.value !== null ? `, now ${number(n.value, 2)} ${
			MORE_UNITS[n.unit] ?? unitWords(n.unit)}` : ""}${n.unknown_since === null ? "" : `, not known since ${instant(n.unknown_since)}`}`))));
}

export function drawFindings(where, answer) {
	if (!answer.findings.length) {
		where.replaceChildren(make("p", {class: "empty"}, answer.days_looked_at === 0 ? "No day could be looked at yet."
			: `Nothing was found in the ${answer.days_looked_at} days that were looked at${
				answer.days > answer.days_looked_at ? `, of ${answer.days}` : ""}.`));
		return;
	}
	where.replaceChildren(...answer.findings.map(one));
}
