/** A form of the log: kept on this device before it is sent; filled again to be mended. */

import { all, get, keep } from "./kept.js";
import { sendAll } from "./sending.js";

const NOT_VALUES = ["csrf_token", "key", "person"];
const { account, device } = document.body.dataset;
const form = document.querySelector("form.log");
const fields = form.elements;
let mended;
let saving = false;

form.addEventListener("submit", save);
// A page that comes back as it was left would log under the key of a form already kept.
window.addEventListener("pageshow", (event) => event.persisted && location.reload());
begin();

async function begin() {
  const asked = new URLSearchParams(location.search);
  const found = asked.has("kept") ? await get(asked.get("kept")) : undefined;
  if (found?.person === account && found.state !== "sent") {
    mended = found;
    fill(found);
    showWrong(found);
  } else if (!fields.key.value) {
    fields.key.value = crypto.randomUUID();
    fields.at.value = timeIn(fields.at.dataset.zone);
    for (const name of ["tank", "van"]) if (asked.get(name)) set(name, asked.get(name));
  }
}

async function save(event) {
  event.preventDefault();
  if (saving) return;
  saving = true;
  form.querySelector("button.act").disabled = true;
  let written;
  try {
    written = await asKept();
    await keep(written);
  } catch {
    // A browser that keeps nothing for us: the form goes the way it goes without scripts.
    form.submit();
    return;
  }
  navigator.storage?.persist?.();
  await sendAll(device, account);
  location.assign(await next(written.key));
}

async function asKept() {
  // A second copy of this page may have been kept under the same key; this is another form.
  if (!mended && (await get(fields.key.value))) fields.key.value = crypto.randomUUID();
  const values = [...new FormData(form)].filter(([name]) => !NOT_VALUES.includes(name));
  const now = Date.now();
  return {
    key: fields.key.value,
    person: fields.person.value,
    title: document.querySelector("h1").textContent,
    place: ["tank", "van", "meter", "base"].map((name) => fields[name]?.value).find(Boolean) ?? "",
    address: form.getAttribute("action"),
    mend: form.dataset.blank,
    at: fields.at.value,
    values,
    units: shownUnits(),
    state: "waiting",
    wrong: {},
    trouble: null,
    written: mended?.written ?? now,
    saved: now,
  };
}

/** Return where to go on: to the verdict, to what must be mended, or to what waits. */
async function next(key) {
  // A form that the book has with other values goes on under a new key.
  const found = (await all()).find((one) => one.key === key || one.was === key);
  if (found?.state === "sent") return found.verdict;
  if (found?.state === "refused") return `${found.mend}?kept=${found.key}`;
  return form.dataset.waiting;
}

function fill(kept) {
  const units = Object.fromEntries(kept.values).units;
  for (const [name, value] of kept.values) {
    if (name === "units") continue;
    // Whoever reads other units by now sees in which ones it was written.
    const bare = units === fields.units.value || !kept.units[name] || !/^[-+\d.\s]+$/.test(value);
    set(name, bare ? value : `${value} ${kept.units[name]}`);
  }
  fields.key.value = kept.key;
  for (const more of form.querySelectorAll("details")) {
    more.open = [...more.querySelectorAll("input, select")].some(
      (field) => (field.type !== "radio" || field.checked) && field.value,
    );
  }
}

function set(name, value) {
  if (!fields[name]) {
    const hidden = Object.assign(document.createElement("input"), { type: "hidden", name });
    form.append(hidden);
  }
  const field = fields[name];
  field.value = value;
  if (field.value !== value && field.options) field.add(new Option(value, value, true, true));
}

function showWrong({ state, wrong }) {
  if (state !== "refused") return;
  const stray = [];
  for (const [name, says] of Object.entries(wrong)) {
    const place = form.querySelector(`.asked [name="${CSS.escape(name)}"]`)?.closest(".asked");
    if (place) tellBeside(place, name, says);
    else stray.push(says);
  }
  const alert = document.querySelector("#refused");
  alert.hidden = false;
  alert.querySelector("span").textContent = stray.join(" ");
}

function tellBeside(place, name, says) {
  const told = Object.assign(document.createElement("p"), { className: "wrong", textContent: says });
  told.id = `wrong-${name}`;
  place.append(told);
  for (const field of place.querySelectorAll(`[name="${CSS.escape(name)}"]`)) {
    field.setAttribute("aria-invalid", "true");
    field.setAttribute("aria-describedby", told.id);
  }
  place.closest("details")?.setAttribute("open", "");
}

function shownUnits() {
  const shown = [...form.querySelectorAll(".field")].filter((field) => field.querySelector("span"));
  return Object.fromEntries(
    shown.map((field) => [
      field.querySelector("input").name,
      field.querySelector("span").textContent,
    ]),
  );
}

function timeIn(zone) {
  const shape = { timeZone: zone, dateStyle: "short", timeStyle: "short" };
  // Swedish writes a time as 2026-07-31 05:00, which is what the field takes but for the T.
  return new Intl.DateTimeFormat("sv-SE", shape).format(new Date()).replace(" ", "T");
}
