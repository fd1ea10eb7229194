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
	(keep ? localStorage : sessionStorage).setItem(KEY, text);
}

export function headers() {
	return token ? {Authorization: `Bearer ${token}`} : {};
}

/* The answer to a resource with parameters; those that are null are left out. */
export async function ask(resource, parameters = {}) {
	const query = new URLSearchParams();
	for (const [name, value] of Object.entries(parameters))
		if (value !== null && value !== undefined)
			query.set(name, value);
	const target = `v1/${resource}${query.size ? `?${query}` : ""}`;
	const answer = await fetch(target, {headers: {Accept: "application/json", ...headers()}});
	const body = await answer.json().catch(() => null);
	if (!answer.ok && !(resource === "health" && body?.version))
		throw new Refused(answer.status, body);
	return body;
}
