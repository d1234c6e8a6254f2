/** On the page of a tank: draws each chart anew, so that it tells its numbers to the pointer. */

const NARROW_PX = 500;
const FOR_THE_POLICY = {
  ast: true, // the page forbids to make code of text
  renderer: "svg", // its colours are those of the style sheet, dark or light or printed
  actions: false,
  defaultStyle: false,
  tooltip: { disableDefaultStyle: true },
};

async function draw(figure) {
  const picture = figure.querySelector("picture");
  const narrow = figure.clientWidth < NARROW_PX;
  const answer = await fetch(figure.dataset.chart + (narrow ? "?narrow=1" : ""));
  if (!answer.ok) return;
  const chart = await answer.json();
  const place = document.createElement("div");
  place.className = "drawn";
  place.setAttribute("role", "img");
  place.setAttribute("aria-label", picture.querySelector("img").alt);
  picture.after(place);
  try {
    await window.vegaEmbed(place, { ...chart, width: place.clientWidth }, FOR_THE_POLICY);
    place.querySelector("svg").setAttribute("aria-hidden", "true"); // its label tells it as one
    picture.remove();
  } catch (fault) {
    place.remove(); // the picture says the same
    throw fault;
  }
}

for (const figure of document.querySelectorAll("[data-chart]")) draw(figure);
