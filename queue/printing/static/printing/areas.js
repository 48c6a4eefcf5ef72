/* Drawing an area on the picture of a bed writes whole millimetres into the fields, which are the form; the picture
   follows the fields. */

const bed = document.querySelector("[data-bed]");
const form = document.querySelector("[data-area-form]");
const shape = bed.querySelector("[data-new]");
const [scale, width, depth, edge] = ["scale", "width", "depth", "edge"].map((name) => Number(bed.dataset[name]));
const field = (name) => form.elements[name];
const figure = (name) => Number.parseFloat(field(name).value.replace(",", "."));
const SNAP_MM = 3; // so near an edge of the bed, the edge is meant
let from = null;

function draw() {
  const [x, y, across, behind] = ["x_mm", "y_mm", "width_mm", "depth_mm"].map(figure);
  const there = [x, y, across, behind].every(Number.isFinite) && across > 0 && behind > 0;
  shape.setAttribute("visibility", there ? "visible" : "hidden");
  if (!there) return;
  shape.setAttribute("x", String(edge + x * scale));
  shape.setAttribute("y", String(edge + (depth - y - behind) * scale));
  shape.setAttribute("width", String(across * scale));
  shape.setAttribute("height", String(behind * scale));
}

/** Where the pointer is on the bed, in whole millimetres from the front left corner. */
function at(event) {
  const point = new DOMPoint(event.clientX, event.clientY).matrixTransform(bed.getScreenCTM().inverse());
  const within = (value, most) => (value < SNAP_MM ? 0 : value > most - SNAP_MM ? most : Math.round(value));
  return { x: within((point.x - edge) / scale, width), y: within(depth - (point.y - edge) / scale, depth) };
}

bed.addEventListener("pointerdown", (event) => {
  if (event.button > 0) return;
  from = at(event);
  bed.setPointerCapture(event.pointerId);
  event.preventDefault();
});
bed.addEventListener("pointermove", (event) => {
  if (from === null) return;
  const to = at(event);
  if (to.x === from.x || to.y === from.y) return; // not an area yet
  field("x_mm").value = String(Math.min(from.x, to.x));
  field("y_mm").value = String(Math.min(from.y, to.y));
  field("width_mm").value = String(Math.abs(to.x - from.x));
  field("depth_mm").value = String(Math.abs(to.y - from.y));
  draw();
});
for (const end of ["pointerup", "pointercancel"]) bed.addEventListener(end, () => (from = null));
form.addEventListener("input", draw);

bed.dataset.live = "";
form.querySelector("[data-draw-hint]").hidden = false;
draw();
