/** Sends kept forms: oldest first, one tab at a time, only those of whoever is signed in. */

import { all, settle } from "./kept.js";

const PATIENCE_MS = 20_000;
const SENT = 201;
const REFUSED = [409, 422];
const STALE_TOKEN = 400;
const SIGNED_OUT = 401;

/** Return who is signed in, a token for forms and what to copy; no person if nobody may log. */
export async function whoami(device) {
  const answer = await asked(device, {});
  return answer.ok ? answer.json() : { signedOut: answer.type === "opaqueredirect" };
}

/** Do some work while no other tab does the like. */
export function alone(name, work) {
  // Browsers offer locks on https and localhost only; the keys of forms hold without them too.
  return navigator.locks ? navigator.locks.request(name, work) : work();
}

/** Send the forms of an account that wait; what cannot be sent now stays as it is. */
export async function sendAll(device, account) {
  let signedOut = false;
  try {
    signedOut = await alone("log-sending", () => sendEach(device, account));
  } catch (error) {
    if (!withoutNetwork(error)) throw error;
  }
  document.dispatchEvent(new CustomEvent("kept", { detail: { signedOut } }));
}

/** Tell whether an error means that the network, or our page in it, is not there. */
export function withoutNetwork(error) {
  return error instanceof TypeError || ["TimeoutError", "AbortError"].includes(error.name);
}

/* Returns whether it ended because nobody is signed in, or no longer the same person. */
async function sendEach(device, account) {
  const me = await whoami(device);
  if (me.person !== account) return Boolean(me.person) || me.signedOut;
  for (const form of await all()) {
    if (form.state !== "waiting" || form.person !== account) continue;
    let answer = await posted(form, me.token);
    if (answer.status === STALE_TOKEN) {
      const again = await whoami(device);
      if (again.person !== account) return true;
      answer = await posted(form, again.token);
    }
    if (answer.status === SIGNED_OUT) return true;
    await settle(form, await outcome(answer));
  }
  return false;
}

function posted(form, token) {
  const own = { key: form.key, person: form.person, csrf_token: token };
  const body = new URLSearchParams([...form.values, ...Object.entries(own)]);
  return asked(form.address, { method: "POST", body });
}

function asked(address, how) {
  const headers = { Accept: "application/json" };
  const signal = AbortSignal.timeout(PATIENCE_MS);
  return fetch(address, { ...how, headers, signal, redirect: "manual" });
}

async function outcome(answer) {
  if (answer.status === SENT) {
    const { address } = await answer.json();
    return { state: "sent", verdict: address, values: [], wrong: {}, trouble: null };
  }
  if (REFUSED.includes(answer.status)) {
    const { key, wrong } = await answer.json();
    return { state: "refused", key, wrong, trouble: null };
  }
  return { trouble: answer.status };
}
