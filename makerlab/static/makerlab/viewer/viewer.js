/* A part in 3D on any element with data-viewer (lessons/part_view.html): the picture stays until the mesh is there, and
   wherever WebGL is not. Turned by mouse, finger, keys and buttons; draws only when something changed. */

import { ABOVE, BELOW, Camera } from "./camera.js";
import { onColourChange, pageColours } from "./colours.js";
import { bindControls } from "./controls.js";
import { drawMarks } from "./marks.js";
import { fetchMesh } from "./mesh.js";
import { COARSE_FACES, Scene } from "./scene.js";

const SLOW = new Set(["slow-2g", "2g", "3g"]);
const SHARPEST = 2; // device pixels drawn for one of the page, at most
const SLOW_MS = 25; // a frame that takes longer does not turn smoothly
const REST_MS = 200; // so long after the last move all of it is drawn again
const WEBGL = { alpha: true, antialias: true, premultipliedAlpha: false, powerPreference: "low-power" };

const find = (root, name) => root.querySelector(`[data-view-${name}]`);
const live = new Set();

/* Somebody who saves data, or waits long for it, is asked first. */
function asksFirst(root) {
  const link = navigator.connection;
  return root.hasAttribute("data-asks") || link?.saveData || SLOW.has(link?.effectiveType) || matchMedia("(prefers-reduced-data: reduce)").matches;
}

class Viewer {
  constructor(root) {
    this.root = root;
    this.stage = find(root, "stage");
    this.canvas = find(root, "canvas");
    this.over = find(root, "over");
    this.part = { ...JSON.parse(root.dataset.part), holeText: root.dataset.holeText, lang: document.documentElement.lang };
    this.look = { flags: 31, bed: true, hole: true, ghost: false, cut: null };
    this.ending = new AbortController();
    const button = find(root, "ask");
    button.addEventListener("click", () => this.start(true), { signal: this.ending.signal });
    if (asksFirst(root)) button.hidden = false;
    else this.whenSeen(() => this.start(false));
  }

  whenSeen(then) {
    this.watch = new IntersectionObserver((entries) => {
      if (!entries.some((entry) => entry.isIntersecting)) return;
      this.watch.disconnect();
      then();
    }, { rootMargin: "200px" });
    this.watch.observe(this.stage);
  }

  say(kind) {
    find(this.root, "status").textContent = kind ? this.root.dataset[kind] : "";
  }

  async start(asked) {
    find(this.root, "ask").hidden = true;
    const gl = this.canvas.getContext("webgl2", WEBGL);
    if (!gl) return this.say("without");
    this.gl = gl;
    this.say(asked ? "loading" : "");
    try {
      this.mesh = await fetchMesh(this.root.dataset.mesh, this.ending.signal);
      this.camera = new Camera(this.mesh, this.part.below ? BELOW : ABOVE);
      this.build();
    } catch {
      if (this.ending.signal.aborted) return;
      find(this.root, "ask").hidden = false;
      return this.say("failed");
    }
    this.listen();
    this.say("");
    this.show(true);
    if (asked) this.canvas.focus();
  }

  /* Everything that lives in the graphics memory; done again after it was lost. */
  build() {
    this.scene = new Scene(this.gl);
    this.scene.put(this.mesh);
    this.scene.putBed(this.mesh.low, this.mesh.high, this.part.bed);
    if (this.ghostMesh) this.scene.putGhost(this.ghostMesh, this.ghostShift());
  }

  listen() {
    const { signal } = this.ending;
    this.colours = pageColours(this.stage);
    this.stopColours = onColourChange(() => {
      this.colours = pageColours(this.stage);
      this.redraw();
    });
    this.sizes = new ResizeObserver(() => this.resize());
    this.sizes.observe(this.stage);
    this.canvas.addEventListener("webglcontextlost", (event) => {
      event.preventDefault();
      if (signal.aborted) return;
      this.show(false);
      this.say("lost");
    }, { signal });
    this.canvas.addEventListener("webglcontextrestored", () => {
      this.build();
      this.say("");
      this.show(true);
    }, { signal });
    bindControls(this, signal);
  }

  show(on) {
    this.stage.classList.toggle("is-live", on);
    for (const each of [this.canvas, this.over, find(this.root, "tools")]) each.hidden = !on;
    for (const each of this.root.querySelectorAll("[data-view-live]")) each.hidden = !on;
    if (on) this.resize();
  }

  resize() {
    const { width, height } = this.stage.getBoundingClientRect();
    if (!width || !height || this.canvas.hidden) return;
    this.dots = Math.min(SHARPEST, devicePixelRatio || 1);
    this.sharpen(this.over, this.dots);
    this.camera.resize(width, height);
    this.redraw();
  }

  sharpen(canvas, dots) {
    const { width, height } = this.stage.getBoundingClientRect();
    const [across, down] = [Math.round(width * dots), Math.round(height * dots)];
    if (canvas.width !== across) canvas.width = across;
    if (canvas.height !== down) canvas.height = down;
  }

  redraw() {
    this.frame ??= requestAnimationFrame(() => {
      this.frame = null;
      if (this.canvas.hidden || this.gl.isContextLost() || !this.root.isConnected) return;
      this.draw(this.isSlow);
      if (this.isSlow) this.drawAllSoon();
      else if (this.isSlow === undefined) this.measure();
    });
  }

  /* ``few``: with few faces, one dot a pixel: it keeps up with the hand where the whole part does not. */
  draw(few = false) {
    const dots = few ? 1 : this.dots;
    this.sharpen(this.canvas, dots);
    this.scene.draw(this.camera, this.colours, this.look, dots, few);
    this.root.toggleAttribute("data-few", few);
    const pen = this.over.getContext("2d");
    pen.setTransform(this.dots, 0, 0, this.dots, 0, 0);
    drawMarks(pen, this.camera, this.colours, this.look, this.part);
  }

  drawAllSoon() {
    clearTimeout(this.rest);
    this.rest = setTimeout(() => requestAnimationFrame(() => {
      if (!this.canvas.hidden && !this.gl.isContextLost() && this.root.isConnected) this.draw();
    }), REST_MS);
  }

  /* Once, after the first picture: how long one takes. Reading a dot back waits until it is drawn. */
  measure() {
    this.isSlow = false;
    if (this.mesh.faces <= COARSE_FACES) return;
    const { gl } = this;
    const drawn = () => gl.readPixels(0, 0, 1, 1, gl.RGBA, gl.UNSIGNED_BYTE, new Uint8Array(4));
    drawn();
    const began = performance.now();
    this.draw();
    drawn();
    this.isSlow = performance.now() - began > SLOW_MS;
    if (!this.isSlow) return;
    find(this.root, "few").hidden = false;
    this.scene.coarse(this.scene.part);
  }

  view(name) {
    this.camera.look(name === "below" ? BELOW : ABOVE);
    this.redraw();
  }

  /* The version before is fetched when somebody first wants to see it. */
  async ghost(on) {
    const said = this.root.dataset;
    if (on && !this.ghostMesh) {
      this.say("loading");
      try {
        this.ghostMesh = await fetchMesh(said.ghost, this.ending.signal);
      } catch {
        return this.say("failed");
      }
      this.say("");
      this.scene.putGhost(this.ghostMesh, this.ghostShift());
    }
    this.look.ghost = on;
    this.redraw();
  }

  /* Holes on one another where both have one, else middles; both stand on the bed. */
  ghostShift() {
    const before = JSON.parse(this.root.dataset.ghostPart).hole;
    const middle = (mesh) => mesh.low.map((edge, axis) => (edge + mesh.high[axis]) / 2);
    const [from, to] = before && this.part.hole ? [before.centre, this.part.hole.centre] : [middle(this.ghostMesh), middle(this.mesh)];
    return [to[0] - from[0], to[1] - from[1], this.mesh.low[2] - this.ghostMesh.low[2]];
  }

  end() {
    this.ending.abort();
    clearTimeout(this.rest);
    this.watch?.disconnect();
    this.sizes?.disconnect();
    this.stopColours?.();
    this.gl?.getExtension("WEBGL_lose_context")?.loseContext();
    live.delete(this);
  }
}

function prepare() {
  for (const viewer of live) if (!viewer.root.isConnected) viewer.end();
  for (const root of document.querySelectorAll("[data-viewer]:not([data-viewed])")) {
    root.dataset.viewed = "";
    live.add(new Viewer(root));
  }
}
prepare();
document.addEventListener("htmx:load", prepare);
