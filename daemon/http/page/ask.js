/* Questions to the daemon. A token, where one is wanted, lives in this browser only and is
 * never part of an address. */

const KEY = "heatbook-token";
let token = sessionStorage.getItem(KEY) ?? localStorage.getItem(KEY);

export class Refused extends Error {
	constructor(status, problem) {
		super(problem?.detail ?? problem?.title ?? `the daemon answered ${status}`);
		this.status = status;
	}
}

export function useToken(text, keep) {
	token = text;
	(keep ? sessionStorage : localStorage).removeItem(KEY);
	(keep ? localStorage : sessionStorage).setItem(KEY, text);
}

export function headers() {
	return token ? {Authorization: `Bearer ${token}`} : {};
}

/* Where a resource with parameters is asked; those that are null are left out. */
export function target(resource, parameters = {}) {
	const query = new URLSearchParams();
	for (const [name, value] of Object.entries(parameters))
		if (value !== null && value !== undefined)
			query.set(name, value);
	return `v1/${resource}${query.size ? `?${query}` : ""}`;
}

export async function ask(resource, parameters = {}) {
	const answer = await fetch(target(resource, parameters), {headers: {Accept: "application/json", ...headers()}});
	const body = await answer.json().catch(() => null);
	if (!answer.ok && !(resource === "health" && body?.version))
		throw new Refused(answer.status, body);
	return body;
}

/* A link that a token guards is followed by asking, and what comes is saved. */
export async function save(link, name) {
	const answer = await fetch(link.href, {headers: headers()});
	if (!answer.ok)
		throw new Refused(answer.status, await answer.json().catch(() => null));
	const url = URL.createObjectURL(await answer.blob()), a = document.createElement("a");
	a.href = url;
	a.download = name;
	a.click();
	setTimeout(() => URL.revokeObjectURL(url), 1000);
}
