/* What the browser tests share: TAP's lines, Debian's chromium by playwright-core, which is
 * found in the directory that `npm ci` filled, and words to the program that has started us
 * (a line "> WORD" is answered by a line when it is done). TIMES=1 tells when each point was. */
"use strict";
const {createRequire} = require("module");
const fs = require("fs");
const path = require("path");
const readline = require("readline");

const [base, modules, shots] = process.argv.slice(2);
const required = createRequire(`${modules}/`);
const WAIT_MS = 60000;
const READERS = [["light", {}], ["dark", {colorScheme: "dark"}], ["narrow", {viewport: {width: 360, height: 740}}]];

let count = 0, failed = 0;

function note(text) {
	for (const line of String(text).split("\n"))
		console.log(`# ${line}`);
}

function ok(condition, name, detail) {
	count++;
	failed += condition ? 0 : 1;
	if (process.env.TIMES)
		note(`${(performance.now() / 1000).toFixed(1)} s`);
	console.log(`${condition ? "ok" : "not ok"} ${count} - ${name.replaceAll("#", " ")}`);
	if (!condition && detail !== undefined)
		note(typeof detail === "string" ? detail : JSON.stringify(detail, null, 1));
	return Boolean(condition);
}

function equal(got, wanted, name) {
	const [a, b] = [JSON.stringify(got), JSON.stringify(wanted)];
	return ok(a === b, name, `got ${a}\nwanted ${b}`);
}

const answers = readline.createInterface({input: process.stdin})[Symbol.asyncIterator]();

async function say(word) {
	console.log(`> ${word}`);
	return (await answers.next()).value;
}

/* The daemon's JSON, past the page. */
async function asked(target) {
	const answer = await fetch(`${base}/${target}`, {headers: {Accept: "application/json"}});
	if (!answer.ok)
		throw new Error(`${target}: ${answer.status} ${await answer.text()}`);
	return answer.json();
}

/* A tab in which whatever goes wrong is kept: {page, faults, close()}. */
async function tab(browser, options = {}) {
	const context = await browser.newContext({viewport: {width: 1100, height: 900}, timezoneId: "America/New_York",
		locale: "en-GB", ...options});
	context.setDefaultTimeout(WAIT_MS);
	const page = await context.newPage(), faults = [];
	page.on("console", (m) => ["error", "warning"].includes(m.type()) && !/willReadFrequently/.test(m.text()) /* our own looks at pixels */
		&& faults.push(`console: ${m.text()}`));
	page.on("pageerror", (e) => faults.push(`error: ${e.stack}`));
	page.on("request", (r) => r.url().startsWith(`${base}/`) || /^(data|blob):/.test(r.url()) || faults.push(`request: ${r.url()}`));
	await page.addInitScript(() => addEventListener("securitypolicyviolation", (e) =>
		console.error(`policy: ${e.violatedDirective} ${e.blockedURI}`)));
	return {page, faults, close: () => context.close()};
}

/* Waits until the page's parts are all there. */
async function settled(page) {
	await page.waitForSelector(".ledger tfoot");
	for (const part of ["weather-figure", "known-figure", "day-figure", "runs-list", "findings-list"])
		await page.waitForSelector(`#${part} > *`);
}

async function open(page, fragment = "") {
	await page.goto(`${base}/${fragment}`);
	await settled(page);
}

/* Goes down through what stands behind the numbers, which is asked when it comes near; what was
 * answered, by resource. */
async function lookBehind(page) {
	const told = new Map(), take = (r) => {
		const resource = new URL(r.url()).pathname.split("/v1/")[1];
		if (resource)
			told.set(resource, r.json());
	};
	page.on("response", take);
	const parts = page.locator(".behind-part"), count = await parts.count();
	for (let i = 0; i < count; i++) {
		await parts.nth(i).scrollIntoViewIfNeeded();
		await page.waitForFunction((n) => !document.querySelectorAll(".behind-part")[n].querySelector(".told > .empty:only-child")?.textContent
			.startsWith("It is asked"), i);
	}
	page.off("response", take);
	return Object.fromEntries(await Promise.all([...told].map(async ([resource, body]) => [resource, await body])));
}

/* What axe-core finds by WCAG 2.2 A and AA and by good practice. Of long tables, whose lines
 * are alike, some are enough: it looks at each cell's colours. */
async function barriers(page) {
	await page.evaluate(() => document.querySelectorAll("tbody tr:nth-child(n + 15)").forEach((r) => r.remove()));
	await page.evaluate(fs.readFileSync(required.resolve("axe-core/axe.min.js"), "utf8"));
	const result = await page.evaluate(() => axe.run({runOnly: ["wcag2a", "wcag2aa", "wcag21a", "wcag21aa", "wcag22aa",
		"best-practice"]}));
	return result.violations.map((v) => `${v.impact} ${v.id}: ${v.nodes.slice(0, 3).map((n) =>
		`${n.html.slice(0, 160)} ${n.failureSummary}`).join(" | ")}`);
}

function shot(page, name) {
	fs.mkdirSync(shots, {recursive: true});
	return page.screenshot({path: path.join(shots, name), fullPage: true});
}

/* Pages of the statement as it is printed. */
async function printed(page, name) {
	const pdf = await page.pdf({path: path.join(shots, name), format: "A4", preferCSSPageSize: true});
	return pdf.toString("latin1").match(/\/Type\s*\/Page[^s]/g).length;
}

/* Runs `work(browser)` and ends the process. */
async function main(work) {
	let browser = null;
	try {
		const {chromium} = required("playwright-core");
		browser = await chromium.launch({executablePath: "/usr/bin/chromium", args: ["--no-sandbox", "--disable-gpu"]});
		await work(browser);
	} catch (error) {
		ok(false, "the test ran to its end", error.stack);
	}
	await browser?.close();
	console.log(`1..${count}`);
	process.exit(failed ? 1 : 0);
}

module.exports = {READERS, base, main, ok, equal, note, say, asked, tab, open, settled, lookBehind, barriers, shot, printed, required};
