/** The page of what this device keeps: what waits, what must be mended, which verdicts to read. */

import { all, drop } from "./kept.js";
import { sendAll } from "./sending.js";

const { account, device } = document.body.dataset;
const sketch = document.querySelector("#form").content;

document.addEventListener("kept", list);
document.querySelector("#send").addEventListener("click", () => sendAll(device, account));
list();

async function list() {
  const mine = (await all()).filter((form) => form.person === account);
  for (const section of document.querySelectorAll("[data-list]")) {
    const forms = mine.filter((form) => form.state === section.dataset.list);
    section.hidden = !forms.length;
    section.querySelector("ul").replaceChildren(...forms.map(drawn));
  }
  document.querySelector("#none").hidden = mine.length > 0;
}

function drawn(form) {
  const row = sketch.cloneNode(true);
  const part = (name) => row.querySelector(`[data-part=${name}]`);
  part("title").textContent = form.title;
  part("place").textContent = form.place;
  part("at").textContent = form.at.replace("T", " ");
  if (form.state === "sent") {
    lead(part("verdict"), form.verdict);
    return row;
  }
  lead(part("mend"), `${form.mend}?kept=${form.key}`);
  tell(part("wrong"), Object.values(form.wrong).join(" "));
  if (form.trouble) {
    part("trouble").querySelector("span").textContent = form.trouble;
    part("trouble").hidden = false;
  }
  part("discard").hidden = false;
  part("discard").querySelector("button").addEventListener("click", () => discard(form.key));
  return row;
}

function lead(place, address) {
  place.hidden = false;
  place.querySelector("a").href = address;
}

function tell(place, says) {
  place.hidden = !says;
  place.textContent = says;
}

async function discard(key) {
  await drop(key);
  document.dispatchEvent(new Event("kept"));
}
