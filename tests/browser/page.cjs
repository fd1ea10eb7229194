/* The page in a browser, on weeks of the demo plant: both days on which the clock changes, a
 * gap that an import closes, minutes that come by the stream.
 *
 * Usage, by page.py: page.cjs BASE MODULES SHOTS */
"use strict";
const fs = require("fs");
const path = require("path");
const {READERS, base, main, ok, equal, say, asked, tab, open, settled, lookBehind, barriers, shot, printed, required} = require("./browser.cjs");

const YEAR = "#from=2025-10-01&to=2026-04-02";
const text = (page, selector) => page.locator(selector).first().textContent();
const number = (words) => Number(words.replaceAll(",", "").replace("−", "-"));

/* ---- the ledger ---- */

async function lines(page, selector) {
	return page.locator(selector).evaluateAll((rows) => rows.map((r) => [...r.querySelectorAll("td")].slice(0, 3).map((d) => d.textContent)));
}

/* Figures as a line of the ledger writes them. */
function written(c, i) {
	const one = (v) => v === null || v === undefined ? "–" : v.toFixed(1);
	const two = (v, half) => v === null ? "–" : `${v.toFixed(2)} ± ${half.toFixed(2)}`;
	return [one(c.heat_kwh[i]), one(c.electricity_kwh[i]), two(c.cop[i], c.cop_uncertainty[i])];
}

const plain = (rows) => rows.map((r) => r.map((t) => t.replaceAll(",", "").replace("−", "-")));

async function ledger(page) {
	const span = "from=2025-10-01T00:00:00%2B02:00&to=2026-04-03T00:00:00%2B02:00";
	const months = await asked(`v1/energy?${span}&step=P1M`), c = months.columns;
	equal(plain(await lines(page, ".ledger .month")), c.t.map((_, i) => written(c, i)), "the lines of months are /v1/energy's");
	const total = Object.fromEntries(Object.entries(months.total).map(([k, v]) => [k, [v]]));
	equal(plain(await lines(page, ".ledger tfoot tr:first-child")), [written(total, 0)], "so is the sum");
	const march = page.locator(".ledger .month button", {hasText: "March 2026"}).first();
	await march.click();
	await page.waitForSelector(".ledger .day");
	const days = (await asked("v1/energy?from=2026-03-01T00:00:00%2B01:00&to=2026-04-01T00:00:00%2B02:00&step=P1D")).columns;
	equal(plain(await lines(page, ".ledger .day")), days.t.map((_, i) => written(days, i)), "an opened month shows its days");
	equal(await page.evaluate(() => document.activeElement.dataset.key), await march.getAttribute("data-key"), "the button keeps the focus");
	await page.keyboard.press("Enter");
	await page.waitForSelector(".ledger .day", {state: "detached"});
	ok(true, "Enter closes it");
	await page.keyboard.press("Space");
	await page.waitForSelector(".ledger .day");
	ok(true, "and Space opens it");
	const split = await page.locator(".ledger .month", {hasText: "March"}).locator("td.split").allTextContents();
	ok(number(split[2]) < 0, "what defrosts drew is negative", split);
}

/* ---- one day ---- */

async function dayIs(page, date) {
	const name = new Date(date).toLocaleDateString("en-GB", {timeZone: "UTC", day: "numeric", month: "long", year: "numeric"});
	await page.waitForFunction(([d, n]) => document.getElementById("day-date").value === d
		&& document.querySelector(".about-day")?.textContent.includes(` ${n}`), [date, name]);
	return text(page, ".about-day");
}

async function dayTable(page) {
	await page.waitForSelector("#day-figure .as-table");
	const button = page.locator("#day-figure .as-table");
	if (await button.getAttribute("aria-expanded") === "false")
		await button.click();
	return page.locator("#day-figure tbody tr").evaluateAll((rows) => rows.map((r) => [...r.children].map((c) => c.textContent)));
}

/* Share of a lane's pixels between two hours of a day of 24 that are drawn at all. */
function inked(page, from, to) {
	return page.evaluate(([a, b]) => {
		const plot = document.querySelectorAll(".lanes canvas")[0], over = plot.parentElement.querySelector(".u-over").getBoundingClientRect();
		const box = plot.getBoundingClientRect(), scale = plot.width / box.width;
		const x = (over.left - box.left + over.width * a / 24) * scale, w = over.width * (b - a) / 24 * scale;
		const data = plot.getContext("2d").getImageData(x, (over.top - box.top) * scale, w, over.height * scale).data;
		let drawn = 0;
		for (let i = 3; i < data.length; i += 4)
			drawn += data[i] > 0;
		return drawn / (data.length / 4);
	}, [from, to]);
}

async function gap(page) {
	await page.locator(".ledger .day button", {hasText: "Fri 27 Mar"}).or(page.locator(".ledger .day button", {hasText: "27 Mar"})).first().click();
	await dayIs(page, "2026-03-27");
	ok(/[#&]day=2026-03-27/.test(page.url()), "the day stands in the address");
	ok((await text(page, "#day-figure .pairs")).includes("4 h 57 min"), "five hours are not known, but for what holds a few minutes", await text(page, "#day-figure .pairs"));
	const rows = await dayTable(page);
	equal(rows.length, 1440, "the table behind has a row a minute");
	const inside = rows.filter((r) => r[0] >= "05:10" && r[0] < "10:00");
	ok(inside.length === 290 && inside.every((r) => r.slice(2).every((v) => v === "–")), "nothing is known within the gap", inside.slice(0, 3));
	ok(rows.filter((r) => r[0] < "05:00").every((r) => r.slice(2).some((v) => v !== "–")), "and something before it");
	const [hatched, known] = [await inked(page, 6, 8.5), await inked(page, 21.2, 23.7)];
	ok(hatched > 0.13 && known < 0.1, "a gap is hatched", `${hatched} of the gap, ${known} beside it`);
}

async function clockChanges(page) {
	await open(page, "#from=2025-10-01&to=2026-04-02&day=2026-03-29");
	ok(/forward.*23 hours/.test(await dayIs(page, "2026-03-29")), "the spring's day has 23 hours");
	let rows = await dayTable(page);
	equal(rows.length, 1380, "and as many minutes");
	ok(!rows.some((r) => r[0].startsWith("02:")) && rows.some((r) => r[0] === "03:00 UTC+2"), "none of the hour that is left out");
	await page.fill("#day-date", "2025-10-26");
	ok(/back.*25 hours/.test(await dayIs(page, "2025-10-26")), "the autumn's has 25");
	rows = await dayTable(page);
	equal(rows.length, 1500, "and as many minutes");
	equal(rows.filter((r) => r[0].startsWith("02:30")).map((r) => r[0]), ["02:30 UTC+2", "02:30 UTC+1"], "the hour that comes twice is told apart");
	await page.click("#day-after");
	ok(/Monday, 27 October 2025/.test(await dayIs(page, "2025-10-27")), "a button goes to the day after");
	await page.click("#day-before");
	await dayIs(page, "2025-10-26");
	ok(true, "and one back");
}

/* ---- figures by key and pointer, and what is behind them ---- */

async function sliders(page) {
	for (const [figure, name] of [["#weather-figure svg", "the scatter"], ["#known-figure svg", "the calendar"]]) {
		await page.locator(figure).first().focus();
		await page.keyboard.press("End");
		const last = await page.locator(figure).first().getAttribute("aria-valuetext");
		await page.keyboard.press("ArrowLeft");
		await page.keyboard.press("ArrowLeft");
		const words = await page.locator(figure).first().getAttribute("aria-valuetext");
		ok(words !== last && /2026: /.test(words), `keys go through ${name}`, `${last}; ${words}`);
		await page.keyboard.press("Enter");
		const date = await page.evaluate((w) => {
			const d = new Date(`${w.split(":")[0].split(", ")[1]} UTC`);
			return d.toISOString().slice(0, 10);
		}, words);
		await dayIs(page, date);
		ok(true, `Enter looks into the day that ${name} tells`);
	}
	await page.locator("#known-figure .cell").nth(3).click();
	await dayIs(page, "2025-10-27");
	ok(true, "a click on a cell does, too");
}

async function lanes(page) {
	const slider = page.locator(".lanes"), words = () => slider.getAttribute("aria-valuetext");
	await slider.focus();
	await page.keyboard.press("Home");
	await page.keyboard.press("PageDown");
	await page.keyboard.press("ArrowRight");
	ok(/^01:01.*flow \d+\.\d °C/.test(await words()), "keys go by hour and minute", await words());
	equal(await text(page, ".at"), (await words()).split(", ").slice(0, 2).join(", "), "the minute and its mode are written");
	const before = await page.locator(".strip rect[fill^=url]").count();
	await page.keyboard.press("+");
	await page.keyboard.press("+");
	ok(await page.locator(".strip rect[fill^=url]").count() < before, "+ shows less of the day");
	await page.keyboard.press("0");
	equal(await page.locator(".strip rect[fill^=url]").count(), before, "0 shows the whole");
	const box = await page.locator(".lanes .u-over").first().boundingBox();
	await page.mouse.move(box.x + box.width / 2, box.y + 20);
	await page.waitForFunction(() => /^1[12]:/.test(document.querySelector(".at").textContent));
	ok(true, "pointing tells the minute");
}

async function tables(page) {
	const closed = page.locator(".as-table[aria-expanded=false]");
	while (await closed.count())
		await closed.first().click();
	const rows = (id) => page.locator(`#${id}-figure tbody tr`).count();
	equal(await rows("weather"), await page.locator("#weather-figure .mark").count(), "as many rows as marks");
	equal(await rows("known"), await page.locator("#known-figure .cell").count(), "as many rows as cells");
	ok(await rows("day") > 0, "and a table behind the lanes");
}

async function runs(page) {
	const t = (d) => `from=${d}T00:00:00%2B01:00`;
	await open(page, `${YEAR}&day=2026-03-26`);
	for (const [events, name] of [["runs", "compressor runs"], ["defrosts", "defrosts"], ["hot-water", "hot-water runs"], ["immersion", "immersion heaters"]]) {
		await page.locator("#runs-spans button", {hasText: name}).click();
		await page.locator("#runs-spans button", {hasText: "the week"}).click();
		const wanted = await asked(`v1/${events}?${t("2026-03-20")}&to=2026-03-27T00:00:00%2B01:00`);
		await page.waitForFunction((n) => document.querySelector("#runs-list .pairs dd")?.textContent.startsWith(`${n},`), wanted.count);
		equal(await page.locator("#runs-list .tall tbody tr").count(), wanted.count, `${name} of a week: a row each`);
	}
	await page.locator("#runs-spans button", {hasText: "defrosts"}).click();
	await page.waitForSelector("#runs-list .words >> text=defrost");
	await page.locator("#runs-list .link").first().dblclick(); /* the second time its day is on its way */
	await page.waitForFunction(() => /defrost/.test(document.querySelector(".at").textContent));
	ok(true, "an event leads to its minute in the lanes");
	const label = await page.locator(".strip").getAttribute("aria-label");
	ok(/defrost \d+ min/.test(label) && /space heating/.test(label) && /hot water/.test(label), "the strip tells the modes, a defrost too", label);
}

/* ---- behind the numbers ---- */

/* Each part tells what its resource answers: values by their count, what is missing in its own words. */
async function behind(browser) {
	const {page, faults, close} = await tab(browser);
	await quiet(page);
	await open(page, `${YEAR}&day=2026-03-26`);
	const asked_before = await page.evaluate(() => performance.getEntriesByType("resource").filter((e) => /v1\/(signature|cost|changes)/.test(e.name)).length);
	equal(asked_before, 0, "what stands behind the numbers is not asked before it is looked at");
	const told = await lookBehind(page);
	for (const part of await page.locator(".behind-part").all()) {
		const resource = await part.getAttribute("data-resource"), answer = told[resource];
		ok(answer && !answer.status, `${resource} is asked and answered`, JSON.stringify(answer)?.slice(0, 300));
		const missing = [answer.missing ?? [], ...(answer.changes ?? []).map((c) => c.missing)].flat();
		equal((await part.locator(".told .notes li").allTextContents()).map((t) => t.replace(/^Missing: /, "").replace(/\.$/, "")),
			missing.map((t) => t.replace(/\.$/, "")), `${resource}: what is missing is told`);
		ok(await part.locator(".told .pairs dd").count() > 0 || missing.length > 0, `${resource}: there is an answer, or what it lacks`);
	}
	equal(faults, [], "behind the numbers: no error, no foreign request");
	await close();
}

/* ---- what changes meanwhile ---- */

async function follows(page) {
	await page.waitForFunction(() => /^Live/.test(document.getElementById("heard").textContent));
	ok(true, "the page says that it follows");
	const until = await text(page, ".about-day");
	const heard = JSON.parse(await say("publish"));
	await ledger(page);
	await page.waitForFunction((was) => document.querySelector(".about-day").textContent !== was, until);
	const rows = await dayTable(page), column = await page.locator("#day-figure thead th").allTextContents();
	const flow = rows.map((r) => r[column.indexOf("flow, °C")]).filter((v) => v !== "–").pop();
	ok(Math.abs(Number(flow) - heard.flow) < 0.2, "a minute that was published appears in the lanes", `${flow}, published ${heard.flow}`);
	ok((await text(page, "#present")).includes("flow"), "and the line of the present tells it", await text(page, "#present"));
	const known = () => page.evaluate(() => [...document.querySelectorAll("#known-figure tbody tr")].map((r) => r.textContent)
		.find((t) => t.includes("27 Mar 2026")));
	await page.locator("#known-figure .as-table").click();
	await gap(page);
	ok(/79\.\d %/.test(await known()), "a day with a gap is known for 79 %", await known());
	const march = () => page.locator(".ledger .month", {hasText: "March 2026"}).first().textContent();
	const was = await march();
	await say("close the gap");
	await page.waitForFunction((w) => ![...document.querySelectorAll(".ledger .month")].some((r) => r.textContent === w), was);
	ok(true, "what is imported changes the ledger");
	await page.waitForFunction(() => [...document.querySelectorAll("#known-figure tbody tr")].some((r) => /27 Mar 2026100 %/.test(r.textContent)));
	ok(true, "and the calendar, whose table stays open");
}

/* The stream by a script of ours: it ends, and is taken up by the last event's id. */
async function resumes(browser) {
	const {page, faults, close} = await tab(browser), ids = [];
	await page.route("**/v1/stream", (route) => {
		ids.push(route.request().headers()["last-event-id"] ?? null);
		if (ids.length < 3)
			return route.fulfill({status: 200, contentType: "text/event-stream",
				body: `retry: 10\n:\n\nid: ${ids.length}\nevent: revised\ndata: {"from":0,\ndata: "to":1}\n\nid: half`});
		told();
		return new Promise(() => {}); /* open, and nothing comes */
	});
	let told = null;
	const third = new Promise((resolve) => {
		told = resolve;
	});
	await open(page, YEAR);
	await third;
	equal(ids, [null, "1", "2"], "a stream that ends is taken up by the id of its last whole event");
	const aborted = page.waitForEvent("requestfailed", (r) => r.url().endsWith("/v1/stream"));
	await page.evaluate(() => {
		Object.defineProperty(document, "hidden", {value: true, configurable: true});
		document.dispatchEvent(new Event("visibilitychange"));
	});
	await aborted;
	ok(true, "a tab that is hidden closes it");
	const again = page.waitForRequest((r) => r.url().endsWith("/v1/stream"));
	await page.evaluate(() => {
		Object.defineProperty(document, "hidden", {value: false, configurable: true});
		document.dispatchEvent(new Event("visibilitychange"));
	});
	await again;
	ok(true, "and opens it when it is shown again");
	equal(faults, [], "none of it is an error");
	await close();
}

/* Refuses what is asked for, as an overloaded daemon does, so many times. */
async function refuse(page, resource, times) {
	const later = {type: "about:blank", title: "Service Unavailable", status: 503, detail: `${resource} took too long`};
	await page.route(`**/v1/${resource}*`, (route) => times-- > 0 ? route.fulfill({status: 503, contentType: "application/problem+json",
		body: JSON.stringify(later)}) : route.fallback());
}

/* A part that fails leaves the others, says so, and is there once it is answered. */
async function refused(browser) {
	const {page, close} = await tab(browser);
	await quiet(page);
	await refuse(page, "notices", 1);
	await refuse(page, "energy", 1);
	await refuse(page, "circuit", 1);
	await page.goto(`${base}/${YEAR}&day=2026-03-26`);
	await page.waitForSelector("#behind-parts > *");
	ok(await page.locator("#findings-list > *").count() > 0 && await page.locator("#day-figure > *").count() > 0,
		"what is refused takes no other part with it");
	ok(/took too long/.test(await text(page, "#trouble")), "and the page says what was", await text(page, "#trouble"));
	await settled(page);
	await page.waitForSelector("#trouble", {state: "hidden"});
	ok(true, "it is asked again, and the fault is no more told");
	const circuit = page.locator("[data-resource=circuit]");
	await circuit.scrollIntoViewIfNeeded();
	await page.waitForFunction(() => document.querySelector("[data-resource=circuit] .told").textContent.startsWith("circuit took too long"));
	await lookBehind(page); /* parts above have grown meanwhile and pushed it down */
	await circuit.scrollIntoViewIfNeeded();
	await page.waitForSelector("[data-resource=circuit] .told > :not(.empty)", {state: "attached"});
	ok(true, "so is a part behind the numbers that was refused, while it is looked at");
	await close();
}

/* For tabs that need no stream: one client has only so many connections. */
function quiet(page) {
	return page.route("**/v1/stream", () => new Promise(() => {}));
}

/* At a daemon of its own, that wants a token. */
async function token(browser) {
	const {place, word} = JSON.parse(await say("guarded")), {page, close} = await tab(browser);
	await page.goto(`${place}/`);
	await page.waitForSelector("#token-form:not([hidden])");
	equal(await page.evaluate(() => document.activeElement.id), "token", "where a token is wanted its field is there, and focused");
	ok(await page.locator("main").isHidden(), "and nothing else");
	await page.keyboard.type("none-of-its-tokens");
	await page.keyboard.press("Enter");
	await page.waitForFunction(() => /That token is none/.test(document.getElementById("trouble").textContent));
	ok(await page.locator("#token-form").isVisible(), "a wrong one is asked for again");
	await page.fill("#token", word);
	await page.keyboard.press("Enter");
	await settled(page);
	await page.waitForFunction(() => /Live/.test(document.getElementById("heard").textContent));
	ok(await page.locator("#token-form").isHidden() && !page.url().includes(word), "with the right one the page is drawn and live, and its address does not tell it");
	equal(await page.evaluate(() => [sessionStorage.length, localStorage.length]), [1, 0], "it is kept for this tab alone");
	const [saved] = await Promise.all([page.waitForEvent("download"), page.click("#as-csv")]);
	ok(/^t,/.test(fs.readFileSync(await saved.path(), "utf8")), "the link to CSV takes it along");
	await close();
}

/* ---- who looks ---- */

/* The button fetches what the sheet says besides the ledger, then prints. */
async function printedWhole(page) {
	equal(await printed(page, "ledger.pdf"), 1, "printed as it stands it is one sheet");
	await page.evaluate(() => {
		globalThis.print = () => {
			document.documentElement.dataset.printed = "";
		};
	});
	await page.locator(".ledger .month button").first().click(); /* its days would make a second sheet */
	await page.click("#print");
	await page.waitForSelector("[data-printed]", {state: "attached"});
	equal(await printed(page, "statement.pdf"), 1, "the statement is one sheet");
	const sheet = await page.locator("#sheet").textContent();
	ok(/degree days/.test(sheet) && /immersion/.test(sheet) && /± 0\.30 K/.test(sheet) && /schema \d+/.test(sheet),
		"it says conditions, instruments, limits and what made it", sheet);
	ok(await page.locator("#sheet").isHidden(), "on the screen it does not");
}

async function looks(browser) {
	for (const [name, options] of READERS) {
		const {page, faults, close} = await tab(browser, options);
		await quiet(page);
		await open(page, `${YEAR}&day=2026-03-26`);
		equal(await page.evaluate(() => document.documentElement.dataset.shade), name === "dark" ? "dark" : "light", `${name}: the scheme is the reader's`);
		await shot(page, `${name}.png`);
		if (name === "narrow")
			ok(/never known together/.test(await text(page, ".ledger .month:has-text('Nov 25') + .more")),
				"narrow: why there is no quotient stands under its line");
		await page.locator(".ledger .month button").first().click();
		await lookBehind(page);
		await tables(page);
		equal(await barriers(page), [], `${name}: axe-core finds nothing`);
		ok(await page.evaluate(() => document.scrollingElement.scrollWidth <= innerWidth), `${name}: nothing is wider than the window`);
		if (name === "light")
			await printedWhole(page);
		if (name === "dark") {
			await page.click("#shade");
			equal(await page.evaluate(() => [document.documentElement.dataset.shade, getComputedStyle(document.body).backgroundColor]),
				["light", "rgb(251, 250, 246)"], "a button changes the scheme");
			await page.reload();
			await settled(page);
			equal(await page.evaluate(() => document.documentElement.dataset.shade), "light", "which is remembered");
		}
		equal(faults, [], `${name}: no error, no report, no foreign request`);
		await close();
	}
}

async function withoutScript(browser) {
	const {page, faults, close} = await tab(browser, {javaScriptEnabled: false});
	await page.goto(`${base}/`);
	ok(await page.locator("noscript p").isVisible(), "without scripts a sentence says so");
	ok(await page.locator("#choose").isHidden() && await page.locator("footer li").first().isVisible(), "nothing that cannot work is shown, cautions are");
	equal(faults, [], "and no error");
	await close();
}

function vendored() {
	const place = path.join(__dirname, "../../daemon/http/page/vendor"), there = path.dirname(required.resolve("uplot/package.json"));
	for (const [ours, released] of [["uplot.js", "dist/uPlot.iife.min.js"], ["uplot.css", "dist/uPlot.min.css"], ["LICENSE", "LICENSE"]])
		ok(fs.readFileSync(path.join(place, ours)).equals(fs.readFileSync(path.join(there, released))), `${ours} is as it was released`);
}

main(async (browser) => {
	vendored();
	const {page, faults, close} = await tab(browser);
	await open(page, `${YEAR}&day=2026-04-02`);
	equal(await text(page, "h1"), "Demo house", "the house has its name");
	await follows(page);
	await clockChanges(page);
	await sliders(page);
	await lanes(page);
	await runs(page);
	equal(faults, [], "no error, no report of the policy, no request to elsewhere");
	await close();
	await behind(browser);
	await resumes(browser);
	await refused(browser);
	await token(browser);
	await looks(browser);
	await withoutScript(browser);
});
