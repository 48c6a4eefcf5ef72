/* Hands on the part: mouse and fingers, keys, buttons, ticks and the slider that cuts. */

const TURN_PER_PX = 0.5; // degrees
const TURN_PER_KEY = 7.5;
const PAN_PER_KEY = 24; // px
const ZOOM_PER_KEY = 1.2;
const CUT_PER_KEY = 4; // hundredths
const CUT_WAYS = { x: [1, 0, 0], y: [0, 1, 0], z: [0, 0, 1] };

export function bindControls(viewer, signal) {
  bindPointers(viewer, signal);
  bindKeys(viewer, signal);
  bindTools(viewer, signal);
}

/* One finger or the left button turns; two fingers zoom and move; right button or Shift moves. */
function bindPointers(viewer, signal) {
  const { canvas, camera } = viewer;
  const down = new Map();
  const apart = () => {
    const [a, b] = [...down.values()];
    return { length: Math.hypot(a.x - b.x, a.y - b.y), x: (a.x + b.x) / 2, y: (a.y + b.y) / 2 };
  };
  canvas.addEventListener("pointerdown", (event) => {
    down.set(event.pointerId, { x: event.clientX, y: event.clientY });
    canvas.setPointerCapture(event.pointerId);
  }, { signal });
  canvas.addEventListener("pointermove", (event) => {
    const last = down.get(event.pointerId);
    if (!last) return;
    const before = down.size > 1 ? apart() : null;
    down.set(event.pointerId, { x: event.clientX, y: event.clientY });
    const [dx, dy] = [event.clientX - last.x, event.clientY - last.y];
    if (before) {
      const now = apart();
      camera.nearer(now.length / (before.length || 1));
      camera.pan(now.x - before.x, before.y - now.y);
    } else if (event.shiftKey || event.buttons & 6) camera.pan(dx, -dy);
    else camera.turn(-dx * TURN_PER_PX, dy * TURN_PER_PX);
    viewer.redraw();
  }, { signal });
  for (const kind of ["pointerup", "pointercancel"]) canvas.addEventListener(kind, (event) => down.delete(event.pointerId), { signal });
  canvas.addEventListener("contextmenu", (event) => event.preventDefault(), { signal });
  /* The wheel scrolls the page until the part was clicked on: nobody is to be caught by it. */
  canvas.addEventListener("wheel", (event) => {
    if (document.activeElement !== canvas && !event.ctrlKey) return;
    event.preventDefault();
    camera.nearer(Math.exp(-event.deltaY * 0.0015));
    viewer.redraw();
  }, { signal, passive: false });
}

function bindKeys(viewer, signal) {
  const { canvas, camera } = viewer;
  const ways = { ArrowLeft: [-1, 0], ArrowRight: [1, 0], ArrowUp: [0, 1], ArrowDown: [0, -1] };
  const acts = {
    "+": () => camera.nearer(ZOOM_PER_KEY),
    "=": () => camera.nearer(ZOOM_PER_KEY),
    "-": () => camera.nearer(1 / ZOOM_PER_KEY),
    Home: () => viewer.view("above"),
    End: () => viewer.view("below"),
    PageUp: () => moveCut(viewer, CUT_PER_KEY),
    PageDown: () => moveCut(viewer, -CUT_PER_KEY),
  };
  canvas.addEventListener("keydown", (event) => {
    if (event.ctrlKey || event.metaKey || event.altKey) return;
    const way = ways[event.key];
    if (way && event.shiftKey) camera.pan(way[0] * PAN_PER_KEY, way[1] * PAN_PER_KEY);
    else if (way) camera.turn(-way[0] * TURN_PER_KEY, -way[1] * TURN_PER_KEY);
    else if (acts[event.key]) acts[event.key]();
    else return;
    event.preventDefault();
    event.stopPropagation();
    viewer.redraw();
  }, { signal });
}

function bindTools(viewer, signal) {
  const { root, camera } = viewer;
  const acts = {
    left: () => camera.turn(2 * TURN_PER_KEY, 0),
    right: () => camera.turn(-2 * TURN_PER_KEY, 0),
    up: () => camera.turn(0, -2 * TURN_PER_KEY),
    down: () => camera.turn(0, 2 * TURN_PER_KEY),
    nearer: () => camera.nearer(ZOOM_PER_KEY ** 2),
    farther: () => camera.nearer(1 / ZOOM_PER_KEY ** 2),
    above: () => viewer.view("above"),
    below: () => viewer.view("below"),
  };
  root.addEventListener("click", (event) => {
    const act = acts[event.target.closest("button[data-act]")?.dataset.act];
    if (!act) return;
    act();
    viewer.redraw();
  }, { signal });
  root.addEventListener("change", ({ target }) => {
    if (target.matches("[data-flag]")) viewer.look.flags = flagsOf(root);
    else if (target.matches("[data-show=ghost]")) return void viewer.ghost(target.checked);
    else if (target.matches("[data-show]")) viewer.look[target.dataset.show] = target.checked;
    else if (!target.matches("[data-cut-way]")) return;
    setCut(viewer);
  }, { signal });
  root.addEventListener("input", (event) => {
    if (event.target.matches("[data-cut]")) setCut(viewer);
  }, { signal });
  viewer.look.flags = flagsOf(root);
  for (const box of root.querySelectorAll("[data-show]")) {
    if (box.dataset.show === "ghost") viewer.ghost(box.checked);
    else viewer.look[box.dataset.show] = box.checked;
  }
  setCut(viewer);
}

const flagsOf = (root) => [...root.querySelectorAll("[data-flag]:checked")].reduce((sum, box) => sum + Number(box.dataset.flag), 0);

/* The slider runs from one end of the part to the other; what lies beyond it is taken away. */
function setCut(viewer) {
  const [way, slider] = [viewer.root.querySelector("[data-cut-way]"), viewer.root.querySelector("[data-cut]")];
  const direction = CUT_WAYS[way.value];
  slider.disabled = !direction;
  const told = viewer.root.querySelector("[data-cut-told]");
  if (direction) {
    const axis = direction.indexOf(1);
    const [low, high] = [viewer.mesh.low[axis], viewer.mesh.high[axis]];
    const reach = ((high - low) * Number(slider.value)) / 100;
    viewer.look.cut = [...direction, low + reach];
    told.textContent = `${reach.toLocaleString(viewer.part.lang, { maximumFractionDigits: 1, minimumFractionDigits: 1 })} mm`;
    slider.setAttribute("aria-valuetext", told.textContent);
  } else {
    viewer.look.cut = null;
    told.textContent = "";
  }
  viewer.redraw();
}

function moveCut(viewer, by) {
  const [way, slider] = [viewer.root.querySelector("[data-cut-way]"), viewer.root.querySelector("[data-cut]")];
  if (!CUT_WAYS[way.value]) way.value = "z";
  slider.value = Number(slider.value) + by;
  setCut(viewer);
}
