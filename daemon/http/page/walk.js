/* A figure of days is one slider: keys go from day to day, Enter opens the day, and what it
 * is worth is said as the slider's words (WAI-ARIA 1.2, role slider; from memory). */

/* days: of any kind, in order of time; words(day), mark(day), choose(day); `by` are further
 * keys: how far each goes. Returns how to go to the day at an index. */
export function walk(figure, line, days, at, {name, key, words, mark, choose, by = {}}) {
	const far = days.length;
	const keys = {ArrowRight: 1, ArrowUp: 1, ArrowLeft: -1, ArrowDown: -1, PageUp: -7, PageDown: 7, Home: -far,
		End: far, ...by};
	for (const [attribute, value] of Object.entries({role: "slider", tabindex: "0", "aria-label": name,
		"data-key": key, "aria-valuemin": 1, "aria-valuemax": far, "aria-valuenow": Math.max(at, 0) + 1,
		"aria-valuetext": "no day chosen"}))
		figure.setAttribute(attribute, value);
	function go(i) {
		at = Math.max(0, Math.min(far - 1, i));
		mark(days[at]);
		line.textContent = words(days[at]);
		figure.setAttribute("aria-valuenow", at + 1);
		figure.setAttribute("aria-valuetext", line.textContent);
	}
	if (at >= 0)
		go(at);
	figure.addEventListener("keydown", (e) => {
		if (keys[e.key] !== undefined && !e.altKey && !e.ctrlKey && !e.metaKey) {
			e.preventDefault();
			go((at < 0 ? far - 1 : at) + keys[e.key]);
		}
		if (e.key === "Enter" && at >= 0)
			choose(days[at]);
	});
	return go;
}
