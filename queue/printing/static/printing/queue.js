/* The queue by dragging: a row taken by its handle and dropped before another sends what the buttons send. */

const row = (event) => event.target.closest?.("[data-row]");
let taken = null;

function prepare() {
  for (const each of document.querySelectorAll("[data-row] [data-handle]")) {
    each.hidden = false;
    each.closest("[data-row]").draggable = true;
  }
}

document.addEventListener("dragstart", (event) => {
  taken = row(event);
  if (!taken) return;
  event.dataTransfer.effectAllowed = "move";
  event.dataTransfer.setData("text/plain", taken.dataset.row);
  taken.classList.add("is-taken");
});

/* The row before which it would land: the one under the pointer, or the one after it from its lower half on. */
function landing(event) {
  const under = row(event);
  if (!taken || !under) return undefined;
  const { top, height } = under.getBoundingClientRect();
  if (event.clientY < top + height / 2) return under;
  let next = under.nextElementSibling;
  while (next && !next.dataset.row) next = next.nextElementSibling;
  return next;
}

function mark(place) {
  for (const each of document.querySelectorAll(".is-landing")) each.classList.remove("is-landing");
  place?.classList.add("is-landing");
}

document.addEventListener("dragover", (event) => {
  const place = landing(event);
  if (place === undefined) return;
  event.preventDefault();
  mark(place);
});

document.addEventListener("drop", (event) => {
  const place = landing(event);
  if (place === undefined) return;
  event.preventDefault();
  const form = taken.querySelector("form");
  const values = { direction: "to", before: place?.dataset.row ?? "", version: form.elements.version.value };
  if (place !== taken) globalThis.htmx.ajax("POST", form.action, { source: form, target: "#queue", swap: "outerHTML", values });
});

document.addEventListener("dragend", () => {
  taken?.classList.remove("is-taken");
  mark(null);
  taken = null;
});

prepare();
document.addEventListener("htmx:load", prepare);
