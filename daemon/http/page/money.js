/* What electricity cost and emitted, a line a month, and what another heat source would have. */
import {missing} from "./answer.js";
import {make, pairs, table} from "./table.js";
import {absent, energy, monthName, number, plain} from "./words.js";

const between = (low, high, decimals) => absent(low) || absent(high) ? null
	: make("span", {class: "half"}, ` ${number(low, decimals)} to ${number(high, decimals)}`);

function amount(value, low, high, decimals, unit) {
	return absent(value) ? null : make("span", {}, `${number(value, decimals)} ${unit}`, between(low, high, decimals));
}

function total(answer) {
	const t = answer.total, money = answer.currency ?? "";
	return pairs([["electricity", amount(t.electricity_kwh, null, null, 1, "kWh"), "electricity"], ["it cost", amount(t.cost, t.cost_low, t.cost_high, 2, money)],
		["a kWh on average", amount(t.price_paid, null, null, 4, money)], ["a kWh of heat", amount(t.heat_cost, t.heat_cost_low, t.heat_cost_high, 4, money), "heat"],
		["standing charges besides", amount(t.standing_cost || null, null, null, 2, money)],
		["from own generation", amount(t.own_electricity_kwh, null, null, 1, "kWh")],
		["without a price, in no cost", amount(t.unpriced_electricity_kwh || null, null, null, 1, "kWh")],
		["carbon dioxide", amount(t.carbon_kg, t.carbon_kg_low, t.carbon_kg_high, 0, "kg")],
		...Object.entries(t.other_heat ?? {}).flatMap(([name, o]) => [[`the same heat by ${plain(name)}`, amount(o.other_cost, o.other_cost_low, o.other_cost_high, 2, money)],
			["saved against that", amount(o.saved, o.saved_low, o.saved_high, 2, money)]])].filter(([, value]) => value));
}

export function drawMoney(where, answer) {
	const c = answer.columns, money = answer.currency ?? "money";
	where.replaceChildren(total(answer), missing(answer.missing) ?? "", make("div", {class: "wide", tabindex: "0", role: "group", "aria-label": "What it cost, by month"},
		table("By month; days that are not over count as far as they are known", ["Month", "Electricity, kWh", `Cost, ${money}`, `A kWh, ${money}`,
			`A kWh of heat, ${money}`, "Carbon dioxide, kg"], c.t.map((t, i) => [monthName(t), energy(c.electricity_kwh[i]), number(c.cost[i], 2),
			number(c.price_paid[i], 4), number(c.heat_cost[i], 4), number(c.carbon_kg[i], 0)]))));
}
