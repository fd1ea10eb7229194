/* Efficiency by how cold it was and how warm the water: a table whose cells are bins. */
import {make} from "./table.js";
import {absent, number, ratio} from "./words.js";

const LEAST_H = 0.5; /* what is shorter is the way from one bin to another */

function bins(columns, mode) {
	return columns.mode.map((m, i) => ({m, i})).filter(({m, i}) => m === mode && columns.hours[i] >= LEAST_H).map(({i}) => ({outdoor: columns.outdoor_c[i],
		flow: columns.flow_c[i], hours: columns.hours[i], cop: columns.cop[i], half: columns.cop_uncertainty[i], law: columns.second_law[i]}));
}

/* As full as the bin has hours, beside the fullest. */
function cell(bin, most) {
	if (!bin)
		return make("td", {class: "bin"});
	return make("td", {class: "bin", style: `--share: ${Math.sqrt(bin.hours / most)}`, title: `${ratio(bin.cop, bin.half)} over ${number(bin.hours, 1)} h${
		absent(bin.law) ? "" : `; ${number(100 * bin.law, 0)} % of the ideal`}`},
	absent(bin.cop) ? "–" : number(bin.cop, 2), make("span", {class: "half"}, ` ${number(bin.hours, bin.hours < 10 ? 1 : 0)} h`));
}

function grid(answer, mode, name) {
	const all = bins(answer.columns, mode), width = answer.evidence.flow_bin_k, step = answer.evidence.outdoor_bin_k;
	if (!all.length)
		return null;
	const at = new Map(all.map((b) => [`${b.outdoor} ${b.flow}`, b])), most = Math.max(...all.map((b) => b.hours));
	const flows = [...new Set(all.map((b) => b.flow))].sort((a, b) => a - b), outdoors = [...new Set(all.map((b) => b.outdoor))].sort((a, b) => a - b);
	return make("div", {class: "wide tall", tabindex: "0", role: "group", "aria-label": name}, make("table", {class: "plain bins"},
		make("caption", {}, `${name}: heat for one of electricity, and over how many hours, where these are half a one at least`),
		make("thead", {}, make("tr", {}, make("th", {scope: "col"}, "Outside, °C"), ...flows.map((f) => make("th", {scope: "col"},
			`Water ${number(f, 0)} to ${number(f + width, 0)} °C`)))),
		make("tbody", {}, ...outdoors.map((o) => make("tr", {}, make("th", {scope: "row"}, `${number(o, 0)} to ${number(o + step, 0)}`),
			...flows.map((f) => cell(at.get(`${o} ${f}`), most)))))));
}

/* Tables of heating and of hot water, as far as there are bins. */
export function conditionTables(answer) {
	return answer.columns ? [grid(answer, "heating", "Heating"), grid(answer, "hot_water", "Hot water")].filter(Boolean) : [];
}
