/* The circuit's pressure and flow, day by day. */
import {drawCourse} from "./course.js";
import {absent, dayName, number} from "./words.js";

const bar = (v) => number(v, 2), lpm = (v) => number(v, 1);

/* places: of the pressure and of the flow, which is that of heating, or without it of hot water. */
export function drawCircuit([pressure, flow], answer, choose) {
	const c = answer.columns;
	if (!c)
		return;
	const days = c.t.map((t, i) => Object.fromEntries(Object.entries(c).map(([k, v]) => [k, v[i]])));
	const which = days.some((d) => !absent(d.heating_lpm)) ? "heating_lpm" : "hot_water_lpm", name = which === "heating_lpm" ? "Flow while heating" : "Flow to the cylinder";
	const pressures = days.filter((d) => !absent(d.pressure_bar)).map((d) => ({...d, y: d.pressure_bar}));
	const flows = days.filter((d) => !absent(d[which])).map((d) => ({...d, y: d[which]}));
	if (pressures.length > 1)
		drawCourse(pressure, {name: "Pressure", key: "pressure", all: pressures, noted: (answer.evidence.top_ups ?? []).map((u) => u.t), decimals: 2,
			upward: "pressure, bar; dashed: topped up", words: (d) => `${dayName(d.t)}: ${bar(d.pressure_bar)} bar at ${number(d.water_c, 1)} °C of water${
				absent(d.cold_pressure_bar) ? "" : `, ${bar(d.cold_pressure_bar)} bar if it were cold`}`,
			head: ["Day", "Pressure, bar", "Water, °C", "If it were cold, bar"], row: (d) => [dayName(d.t), bar(d.pressure_bar), number(d.water_c, 1), bar(d.cold_pressure_bar)]}, choose);
	if (flows.length > 1)
		drawCourse(flow, {name, key: "flow", all: flows, noted: [], decimals: 1, upward: `${name.toLowerCase()}, L/min`,
			words: (d) => `${dayName(d.t)}: ${lpm(d[which])} L/min`, head: ["Day", "Heating, L/min", "Hot water, L/min"],
			row: (d) => [dayName(d.t), lpm(d.heating_lpm), lpm(d.hot_water_lpm)]}, choose);
}
