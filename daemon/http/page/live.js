/* The daemon's event stream, read by fetch() since a stream of the browser's own cannot send
 * a token. Fields after WHATWG, HTML standard, 9.2 "Server-sent events" (from memory).
 *
 * A stream that ends or falls silent is taken up again by the id of the last event, later
 * each time it fails, by a delay that is drawn, so that many pages do not come at once. */
import {headers, Refused} from "./ask.js";

const FIRST_MS = 1000, MOST_MS = 60000, SILENT_MS = 50000;

/* Takes text in pieces of any size; calls event({type, data, id}) for each that is whole. */
function parser(event, retry) {
	let rest = "", type = "", data = [], id = null, after_cr = false;
	function line(text) {
		if (text === "") {
			if (id !== null || data.length)
				event({type: type || "message", data: data.length ? data.join("\n") : null, id});
			type = "";
			data = [];
			return;
		}
		const colon = text.indexOf(":"), name = colon < 0 ? text : text.slice(0, colon);
		const value = colon < 0 ? "" : text.slice(colon + 1).replace(/^ /, "");
		if (name === "event")
			type = value;
		else if (name === "data")
			data.push(value);
		else if (name === "id" && !value.includes("\0"))
			id = value;
		else if (name === "retry" && /^\d+$/.test(value))
			retry(Number(value));
	}
	return (piece) => {
		if (after_cr && piece.startsWith("\n"))
			piece = piece.slice(1);
		after_cr = piece.endsWith("\r");
		const lines = (rest + piece).split(/\r\n|\r|\n/);
		rest = lines.pop();
		lines.forEach(line);
	};
}

/* told: {minute(data), revised(data), notices(data), state(word, error)}; words: "live", "lost", "refused". */
export function follow(told) {
	let abort = null, last = null, wait_ms = FIRST_MS, least_ms = FIRST_MS, timer = null, watch = null;
	const handlers = {minute: told.minute, revised: told.revised, notices: told.notices};

	function heard() {
		clearTimeout(watch);
		watch = setTimeout(() => abort?.abort(), SILENT_MS);
	}

	async function read(signal) {
		const fields = {Accept: "text/event-stream", ...headers(), ...(last === null ? {} : {"Last-Event-ID": last})};
		const answer = await fetch("v1/stream", {headers: fields, signal, cache: "no-store"});
		if (!answer.ok) {
			if (answer.status === 400)
				last = null; /* an id that this daemon does not know */
			least_ms = Number(answer.headers.get("Retry-After")) * 1000 || FIRST_MS;
			throw new Refused(answer.status, await answer.json().catch(() => null));
		}
		told.state("live");
		const take = parser(({type, data, id}) => {
			last = id ?? last;
			wait_ms = FIRST_MS;
			if (data !== null)
				handlers[type]?.(JSON.parse(data));
		}, (ms) => {
			least_ms = Math.min(ms, MOST_MS);
		});
		const reader = answer.body.pipeThrough(new TextDecoderStream()).getReader();
		for (;;) {
			heard();
			const {done, value} = await reader.read();
			if (done)
				return;
			take(value);
		}
	}

	async function run() {
		timer = null;
		const mine = abort = new AbortController();
		heard();
		let error = null;
		await read(mine.signal).catch((e) => {
			error = e;
		});
		clearTimeout(watch);
		if (abort !== mine)
			return; /* stopped, or begun anew */
		abort = null;
		if (error instanceof Refused && (error.status === 401 || error.status === 404)) {
			told.state("refused", error);
			return;
		}
		told.state("lost", error);
		timer = setTimeout(run, Math.max(least_ms, wait_ms * (0.5 + Math.random())));
		wait_ms = Math.min(wait_ms * 2, MOST_MS);
	}

	return {
		start() {
			clearTimeout(timer);
			if (!abort)
				run();
		},
		stop() {
			clearTimeout(timer);
			clearTimeout(watch);
			timer = null;
			const mine = abort;
			abort = null;
			mine?.abort();
		},
	};
}
