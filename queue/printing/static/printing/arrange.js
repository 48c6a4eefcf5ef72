/* Laying a plate out by hand: dragging, arrow keys and buttons write into the fields, which are the form; the drawing
   follows the fields. Whether an arrangement may stand is asked of the server, by the rules the planner goes by. */

const form = document.querySelector("[data-arrange]");
const bed = form.querySelector("[data-bed]");
const scale = Number(bed.dataset.scale);
const depth = Number(bed.dataset.depth);
const width = Number(bed.dataset.width);
const edge = Number(bed.dataset.edge);
const PAUSE_MS = 90;
const find = (name) => form.querySelector(`[data-${name}]`);
const shapeOf = (id) => bed.querySelector(`[data-copy="${id}"]`);
const rowOf = (id) => form.querySelector(`[data-row="${id}"]`);
const field = (id, name) => form.elements[`${name}-${id}`];
const box = (id) => rowOf(id).querySelector("input[name=on]");
const tenth = (value) => Math.round(value * 10) / 10;
const hundredth = (value) => Math.round(value * 100) / 100; // as the fields are written: back by as many steps is back
const within = (value, most) => hundredth(Math.min(Math.max(value, 0), most));
const figure = (input) => Number.parseFloat(input.value.replace(",", "."));
let chosen = null;
let dirty = false;
let spoken = ""; // where the part just moved stands, for who listens

function placeOf(id) {
  return { x: figure(field(id, "x")), y: figure(field(id, "y")), turn: figure(field(id, "turn")) || 0 };
}

/** Write a place into the fields. Untouched figures stay as they were written: the server knows the exact ones. */
function put(id, place) {
  const before = placeOf(id);
  for (const [name, value] of Object.entries(place)) {
    if (value !== before[name]) field(id, name).value = String(value);
  }
  draw(id);
}

/** Move a part; its middle stays over the bed, so that it can always be seen and taken hold of again. */
function putAt(id, x, y) {
  put(id, { x: within(x, width), y: within(y, depth) });
  changed(id);
}

function draw(id) {
  const { x, y, turn } = placeOf(id);
  const shape = shapeOf(id);
  const there = box(id).checked && Number.isFinite(x) && Number.isFinite(y);
  shape.classList.toggle("away", !there);
  if (!there) return;
  shape.setAttribute("transform", `translate(${edge + x * scale} ${edge + (depth - y) * scale}) rotate(${-turn})`);
  shape.querySelector("[data-upright]").setAttribute("transform", `rotate(${turn})`);
}

function choose(id) {
  chosen = id;
  for (const shape of bed.querySelectorAll("[data-copy]")) {
    shape.setAttribute("aria-pressed", String(shape.dataset.copy === id));
    rowOf(shape.dataset.copy).classList.toggle("chosen", shape.dataset.copy === id);
  }
  for (const button of form.querySelectorAll("[data-buttons] button")) button.disabled = id === null;
  if (id !== null) find("chosen").textContent = shapeOf(id).getAttribute("aria-label");
}

function say(id) {
  const { x, y, turn } = placeOf(id);
  const words = box(id).checked ? form.dataset.at : form.dataset.off;
  const values = { copy: shapeOf(id).dataset.name, x: tenth(x), y: tenth(y), turn: tenth(turn) };
  spoken = words.replace(/\{(\w+)\}/g, (_, name) => values[name]);
  find("said").textContent = spoken;
}

function changed(id) {
  dirty = true;
  say(id);
  ask();
}

function move(id, dx, dy) {
  const { x, y } = placeOf(id);
  putAt(id, x + dx, y + dy);
}

function turn(id, degrees) {
  const { turn: before } = placeOf(id);
  put(id, { turn: (((tenth(before) + degrees) % 360) + 360) % 360 });
  changed(id);
}

function takeOff(id) {
  box(id).checked = false;
  draw(id);
  choose(null);
  changed(id);
  box(id).focus();
}

/* --- asking the server ------------------------------------------------------------------------------------------- */
let waiting = null;
let asked = 0;

function ask() {
  waiting ??= setTimeout(async () => {
    waiting = null;
    const turnOf = ++asked;
    try {
      const answer = await fetch(form.dataset.judge, { method: "POST", body: new FormData(form) });
      if (turnOf !== asked) return; // a newer question is under way
      show(await answer.json());
    } catch {
      // no answer: saving asks again
    }
  }, PAUSE_MS);
}

function show(verdict) {
  for (const [id, [x, y, turned]] of Object.entries(verdict.places ?? {})) {
    if (!box(id).checked || Number.isFinite(placeOf(id).x)) continue;
    put(id, { x: tenth(x), y: tenth(y), turn: turned });
    choose(id);
    say(id);
  }
  const troubles = find("troubles");
  troubles.replaceChildren(
    ...verdict.sentences.map((sentence) => {
      const line = document.createElement("li");
      const mark = find("trouble").content.firstElementChild.cloneNode(true);
      mark.append(sentence);
      line.append(mark);
      return line;
    }),
  );
  find("sound").hidden = verdict.sentences.length > 0;
  for (const shape of bed.querySelectorAll("[data-copy]")) {
    const clash = Boolean(verdict.copies?.[shape.dataset.copy]);
    shape.classList.toggle("clash", clash);
    rowOf(shape.dataset.copy).querySelector("[data-row-trouble]").hidden = !clash;
  }
  find("said").textContent = [spoken, ...verdict.sentences].join(" ");
  find("printers-can").hidden = verdict.sentences.length > 0 || !verdict.printers?.length;
  find("printers").textContent = (verdict.printers ?? []).join(", ");
  find("others").textContent = (verdict.others ?? []).map((words) => `${words}. `).join("");
  find("changed").hidden = !verdict.changed;
}

/* --- mouse and touch --------------------------------------------------------------------------------------------- */
let grip = null;

function at(event) {
  const point = new DOMPoint(event.clientX, event.clientY).matrixTransform(bed.getScreenCTM().inverse());
  return { x: (point.x - edge) / scale, y: depth - (point.y - edge) / scale };
}

bed.addEventListener("pointerdown", (event) => {
  const shape = event.target.closest("[data-copy]");
  if (!shape || event.button > 0) return;
  const id = shape.dataset.copy;
  const from = at(event);
  const { x, y } = placeOf(id);
  choose(id);
  grip = { id, dx: x - from.x, dy: y - from.y, pointer: event.pointerId };
  shape.setPointerCapture(event.pointerId);
  shape.focus({ preventScroll: true });
  event.preventDefault();
});
bed.addEventListener("pointermove", (event) => {
  if (!grip || event.pointerId !== grip.pointer) return;
  const to = at(event);
  putAt(grip.id, to.x + grip.dx, to.y + grip.dy);
});
for (const end of ["pointerup", "pointercancel"]) bed.addEventListener(end, () => (grip = null));

/* --- keyboard and buttons ---------------------------------------------------------------------------------------- */
const ARROWS = { ArrowLeft: [-1, 0], ArrowRight: [1, 0], ArrowUp: [0, 1], ArrowDown: [0, -1] };

bed.addEventListener("focusin", (event) => {
  const shape = event.target.closest("[data-copy]");
  if (shape) choose(shape.dataset.copy);
});
bed.addEventListener("keydown", (event) => {
  const id = event.target.closest("[data-copy]")?.dataset.copy;
  if (!id || event.ctrlKey || event.metaKey || event.altKey) return;
  const arrow = ARROWS[event.key];
  const far = event.shiftKey ? 10 : 1;
  if (arrow) move(id, arrow[0] * far, arrow[1] * far);
  else if (event.key.toLowerCase() === "r") turn(id, event.shiftKey ? -15 : 15);
  else if (event.key === "Delete" || event.key === "Backspace") takeOff(id);
  else return;
  event.preventDefault();
});
form.addEventListener("click", (event) => {
  const button = event.target.closest("[data-buttons] button");
  if (!button || chosen === null) return;
  if (button.dataset.move) move(chosen, ...button.dataset.move.split(" ").map(Number));
  else if (button.dataset.turn) turn(chosen, Number(button.dataset.turn));
  else takeOff(chosen);
});
form.addEventListener("input", (event) => {
  const id = event.target.closest("[data-row]")?.dataset.row;
  if (!id) return;
  if (event.target.name === "on" && event.target.checked) {
    // what comes back, or is added, is put where there is room
    for (const name of ["x", "y", "turn"]) if (!event.target.defaultChecked) field(id, name).value = "";
  }
  draw(id);
  dirty = true;
  ask();
});
form.addEventListener("submit", () => (dirty = false));
addEventListener("beforeunload", (event) => {
  if (dirty) event.preventDefault();
});

for (const row of form.querySelectorAll("[data-row]")) {
  row.addEventListener("focusin", () => box(row.dataset.row).checked && choose(row.dataset.row));
}
form.dataset.live = "";
find("buttons").hidden = false;
find("look").hidden = true;
choose(null);
