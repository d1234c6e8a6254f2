/** The log's first page: a copy of it, opened for a tank, leads to the forms of that tank. */

const asked = new URLSearchParams(location.search);
const place = new URLSearchParams();
for (const name of ["tank", "van"]) if (asked.get(name)) place.set(name, asked.get(name));

if (place.size) {
  for (const link of document.querySelectorAll(".tiles a")) {
    if (!link.search) link.search = place;
  }
  if (place.has("tank")) document.querySelector("#tank").value = place.get("tank");
}
