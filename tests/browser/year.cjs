/* The page on the whole demo year: what it is like with as much as an owner has. With `time` as
 * last argument only how soon it answers, a figure and no verdict.
 *
 * Usage, by page.py: year.cjs BASE MODULES SHOTS [time] */
"use strict";
const {READERS, base, main, ok, equal, note, asked, tab, open, settled, lookBehind, barriers, shot, printed} = require("./browser.cjs");

const ROUNDS = 9;

/* Milliseconds from the beginning of a navigation until the ledger stands there, until all
 * is drawn, and the time of a processor that the tab took, whatever else the machine does;
 * in a tab of its own, so that nothing is kept from before. */
async function answers(browser) {
	const {page, close} = await tab(browser);
	await page.addInitScript(() => {
		new MutationObserver(() => {
			if (document.querySelector(".ledger tfoot"))
				globalThis.ledgerAt ??= performance.now();
		}).observe(document, {childList: true, subtree: true});
	});
	const inner = await page.context().newCDPSession(page);
	await inner.send("Performance.enable");
	await page.goto(`${base}/#from=2025-07-01&to=2026-06-30&day=2026-01-14`);
	await settled(page);
	const times = await page.evaluate(() => [globalThis.ledgerAt, performance.now()]);
	const {metrics} = await inner.send("Performance.getMetrics");
	times.push(metrics.find((m) => m.name === "ProcessTime").value * 1000);
	await close();
	return times;
}

async function time(browser) {
	const all = [];
	await answers(browser); /* the browser's own beginning */
	for (let i = 0; i < ROUNDS; i++)
		all.push(await answers(browser));
	const sorted = (k) => all.map((t) => t[k]).sort((a, b) => a - b), say = (k) =>
		`${sorted(k)[ROUNDS >> 1].toFixed(0)} ms, at most ${sorted(k)[ROUNDS - 1].toFixed(0)} ms`;
	note(`the year's ledger is there after ${say(0)}; the whole page after ${say(1)}; the tab took ${say(2)} of a processor`);
	ok(all.every(([ledger]) => ledger > 0), "the year was drawn each time");
}

async function look(browser, name, options) {
	const {page, faults, close} = await tab(browser, options);
	await open(page, "#from=2025-07-01&to=2026-06-30&day=2026-01-14");
	equal(await page.locator(".ledger .month").count(), 12, `${name}: a line a month`);
	ok(await page.locator("#weather-figure .mark").count() > 350, `${name}: a mark nearly every day`);
	equal(await page.locator("#known-figure .cell").count(), 365, `${name}: a cell each day`);
	const told = await lookBehind(page), house = page.locator("[data-resource=signature]");
	equal(await house.locator(".mark").count(), told.signature.evidence.n, `${name}: a mark each day that the line rests on`);
	await house.locator("svg").focus();
	await page.keyboard.press("Home");
	ok(/kWh at .* °C outside, .* kWh by the line/.test(await house.locator("svg").getAttribute("aria-valuetext")), `${name}: keys go through it`);
	const change = told.changes.changes[0], course = page.locator("[data-resource=changes] svg");
	await course.focus();
	await page.keyboard.press("End");
	ok((await course.getAttribute("aria-valuetext")).includes(`${change.measured_less_predicted.columns.electricity_sum_kwh.at(-1).toFixed(1)} kWh in all`
		.replace("-", "−")), `${name}: the course ends with the sum`, await course.getAttribute("aria-valuetext"));
	equal(await page.locator("[data-resource=cost] tbody tr").count(), 12, `${name}: what it cost, a line a month`);
	ok(await page.locator("[data-resource=efficiency-map] .bin").count() > 100, `${name}: bins by weather and water`);
	ok(await page.locator("[data-resource=flow-temperature] .wide").first().evaluate((e) => e.clientWidth > 0 && e.scrollWidth <= e.clientWidth),
		`${name}: cooler water stands side by side`);
	const title = await course.locator(".axis", {hasText: "measured"}).boundingBox();
	const highest = Math.min(...await course.locator(".grid, .noted").evaluateAll((all) => all.map((e) => e.getBoundingClientRect().top + scrollY)));
	ok(title.y + title.height + await page.evaluate(() => scrollY) <= highest, `${name}: no line crosses what an axis is of`, {title, highest});
	await shot(page, `year-${name}.png`);
	equal(await printed(page, `year-${name}.pdf`), 1, `${name}: the statement of a year is one sheet`);
	const {total} = await asked("v1/energy?from=2025-07-01T00:00:00%2B02:00&to=2026-07-01T00:00:00%2B02:00&step=P1Y");
	equal(await page.locator(".ledger tfoot .heat").textContent(), total.heat_kwh.toLocaleString("en-GB",
		{minimumFractionDigits: 1, maximumFractionDigits: 1}), `${name}: its sum is /v1/energy's`);
	equal(await barriers(page), [], `${name}: axe-core finds nothing`);
	equal(faults, [], `${name}: no error, no report, no foreign request`);
	await close();
}

main(async (browser) => {
	if (process.argv[5] === "time")
		return time(browser);
	for (const [name, options] of READERS)
		await look(browser, name, options);
	return time(browser);
});
