/* Elements by hand, and a table behind every figure. */

export function make(tag, attributes = {}, ...children) {
	const e = tag.startsWith("svg:") ? document.createElementNS("http://www.w3.org/2000/svg", tag.slice(4))
		: document.createElement(tag);
	for (const [name, value] of Object.entries(attributes)) {
		if (value === null || value === undefined || value === false)
			continue;
		if (name.startsWith("on"))
			e.addEventListener(name.slice(2), value);
		else if (name === "style")
			e.style.cssText = value; /* an attribute would be refused by the page's policy */
		else
			e.setAttribute(name, value === true ? "" : value);
	}
	e.append(...children.filter((c) => c !== null && c !== undefined));
	return e;
}

/* rows: arrays of texts or elements, the first of each the row's head. */
export function table(caption, columns, rows) {
	return make("table", {class: "plain"},
		make("caption", {}, caption),
		make("thead", {}, make("tr", {}, ...columns.map((c) => make("th", {scope: "col"}, c)))),
		make("tbody", {}, ...rows.map((row) => make("tr", {},
			...row.map((cell, i) => i === 0 ? make("th", {scope: "row"}, cell)
				: make("td", {}, cell))))));
}

/* Names with their values, in a line that wraps. */
export function pairs(list) {
	return make("dl", {class: "pairs"}, ...list.map(([name, value, kind]) =>
		make("div", {class: kind}, make("dt", {}, name), make("dd", {}, value))));
}

/* Puts a figure into its place with a button that shows the same data as a table, which is
 * made when it is first asked for. A table that was open is so after a new drawing. */
export function place(where, name, figure, asTable) {
	const open = where.querySelector(".as-table")?.getAttribute("aria-expanded") === "true";
	const top = open ? where.querySelector(".behind").scrollTop : 0;
	const body = make("div", {class: "behind", hidden: true, tabindex: "0", role: "group",
		"aria-label": `${name} as a table`});
	function show(shown) {
		if (shown && !body.firstChild)
			body.append(asTable());
		body.hidden = !shown;
		button.setAttribute("aria-expanded", String(shown));
	}
	const button = make("button", {type: "button", class: "as-table", "aria-expanded": "false",
		"aria-label": `As a table: ${name}`, "data-key": `table ${name}`,
		onclick: () => show(body.hidden)}, "As a table");
	where.replaceChildren(figure, button, body);
	show(open);
	body.scrollTop = top;
}

/* Draws anew what may hold the focus: whoever is there afterwards under the same key has it. */
export async function keepFocus(draw) {
	const key = document.activeElement?.dataset?.key;
	await draw();
	if (key && (!document.activeElement || document.activeElement === document.body))
		document.querySelector(`[data-key="${CSS.escape(key)}"]`)?.focus({preventScroll: true});
}
