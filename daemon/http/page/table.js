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

/* rows: arrays of texts, the first of each the row's head. */
export function table(caption, columns, rows) {
	return make("table", {},
		make("caption", {}, caption),
		make("thead", {}, make("tr", {}, ...columns.map((c) => make("th", {scope: "col"}, c)))),
		make("tbody", {}, ...rows.map((row) => make("tr", {},
			...row.map((cell, i) => i === 0 ? make("th", {scope: "row"}, cell)
				: make("td", {}, cell))))));
}

/* Puts a figure into its place with a button that shows the same data as a table, which is
 * made when it is first asked for. */
export function place(where, figure, asTable) {
	const body = make("div", {class: "behind", hidden: true, tabindex: "0", role: "group",
		"aria-label": "The same as a table"});
	const button = make("button", {type: "button", class: "as-table", "aria-expanded": "false",
		onclick() {
			if (!body.firstChild)
				body.append(asTable());
			body.hidden = !body.hidden;
			button.setAttribute("aria-expanded", String(!body.hidden));
		}}, "As a table");
	where.replaceChildren(figure, button, body);
}
