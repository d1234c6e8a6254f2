/** Copies of the log's blank pages, of one account only, for when there is no network. */

import { alone, whoami } from "./sending.js";

const FRESH_MS = 10 * 60_000;
const nameFor = (account) => `log of ${account}`;

/** Delete the copies made for anybody but an account; "" stands for nobody. */
export async function forgetOthers(account) {
  if (!("caches" in window)) return;
  await alone("log-copies", async () => {
    for (const name of await caches.keys()) {
      if (name !== nameFor(account)) await caches.delete(name);
    }
  });
}

/** Renew the copies of an account, at most every ten minutes. */
export async function renew(account, device, first) {
  if (!("caches" in window)) return;
  await alone("log-copies", async () => {
    const copies = await caches.open(nameFor(account));
    if (await isFresh(copies, first)) return;
    const me = await whoami(device);
    if (me.person !== account) return;
    // An answer that leads to signing in is no copy.
    const how = { cache: "reload", redirect: "error" };
    await copies.addAll(me.copies.map((address) => new Request(address, how)));
  });
}

async function isFresh(copies, first) {
  const copy = await copies.match(first);
  return copy && Math.abs(Date.now() - Date.parse(copy.headers.get("Date"))) < FRESH_MS;
}
