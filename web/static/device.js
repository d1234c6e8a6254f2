/** On every page: tells what this device keeps, sends it, and keeps no pages of another account. */

import { forgetOthers, renew } from "./copies.js";
import { all, drop } from "./kept.js";
import { sendAll, withoutNetwork } from "./sending.js";

const AGAIN_MS = 60_000;
const { account, device, worker, scope } = document.body.dataset;

async function start() {
  document.addEventListener("kept", tell);
  window.addEventListener("offline", tell);
  window.addEventListener("online", send);
  document.addEventListener("visibilitychange", send);
  setInterval(send, AGAIN_MS);
  await forgetOthers(account);
  await readVerdict();
  await tell();
  if (!device) return;
  await navigator.serviceWorker?.register(worker, { scope });
  await send();
  await renew(account, device, scope);
}

async function send() {
  if (!device || document.hidden) return;
  const mine = (await all()).filter((form) => form.person === account);
  if (mine.some((form) => form.state === "waiting")) await sendAll(device, account);
  else await tell();
}

async function readVerdict() {
  if (!document.querySelector("[data-verdict]")) return;
  for (const form of await all()) {
    if (form.verdict === location.pathname) await drop(form.key);
  }
}

async function tell(event) {
  const forms = await all();
  const mine = forms.filter((form) => form.person === account);
  const others = forms.filter((form) => form.person !== account && form.state !== "sent");
  const counted = (state) => mine.filter((form) => form.state === state).length;
  show({
    offline: !navigator.onLine && scope && location.pathname.startsWith(scope),
    waiting: counted("waiting"),
    "signed-out": event?.detail?.signedOut && counted("waiting"),
    refused: counted("refused"),
    sent: counted("sent"),
    others: [...new Set(others.map((form) => form.person))].sort().join(", "),
  });
}

function show(said) {
  const box = document.querySelector("#kept");
  for (const line of box.children) {
    const value = said[line.dataset.of];
    line.hidden = !value;
    const place = line.querySelector("b");
    if (place) place.textContent = value;
  }
  box.hidden = [...box.children].every((line) => line.hidden);
}

start().catch((error) => {
  // A browser that keeps nothing for us, such as in a private window, still shows the pages.
  if (!withoutNetwork(error) && !(error instanceof DOMException)) throw error;
});
