/* Where the eye stands. Parallel projection, so that a millimetre is as long in front as behind. Angles in degrees. */

const RADIANS = Math.PI / 180;
const STEEPEST = 89;
const NEAREST = 40;
const FARTHEST = 0.15;
const FILLS = 0.82; // share of the stage the part takes at first
export const ABOVE = { elevation: 32, azimuth: -60 };
export const BELOW = { elevation: -38, azimuth: -60 };

const dot = (a, b) => a[0] * b[0] + a[1] * b[1] + a[2] * b[2];
const cross = (a, b) => [a[1] * b[2] - a[2] * b[1], a[2] * b[0] - a[0] * b[2], a[0] * b[1] - a[1] * b[0]];

export class Camera {
  constructor(mesh, view) {
    this.mesh = mesh;
    this.low = mesh.low;
    this.high = mesh.high;
    this.middle = mesh.low.map((edge, axis) => (edge + mesh.high[axis]) / 2);
    this.size = { width: 1, height: 1 };
    this.look(view);
  }

  /* A fresh view of the whole part, in the middle of the stage. */
  look(view) {
    Object.assign(this, { ...view, zoom: 1 });
    this.aim();
    const [across, upwards] = [this.extent(this.right), this.extent(this.up)];
    this.fits = { width: Math.max(across[1] - across[0], 1e-6), height: Math.max(upwards[1] - upwards[0], 1e-6) };
    this.aside = [across, upwards].map(([least, most]) => -(least + most) / 2);
  }

  /* Least and most of the part along a direction, mm from its middle. */
  extent(way) {
    const { places, step, low } = this.mesh;
    const [a, b, c] = way.map((value, axis) => value * step[axis]);
    let [least, most] = [Infinity, -Infinity];
    for (let at = 0; at < places.length; at += 3) {
      const value = a * places[at] + b * places[at + 1] + c * places[at + 2];
      if (value < least) least = value;
      if (value > most) most = value;
    }
    const shift = way.reduce((sum, value, axis) => sum + value * (low[axis] - this.middle[axis]), 0);
    return [least + shift, most + shift];
  }

  aim() {
    const [e, a] = [this.elevation * RADIANS, this.azimuth * RADIANS];
    this.right = [-Math.sin(a), Math.cos(a), 0];
    this.eye = [Math.cos(e) * Math.cos(a), Math.cos(e) * Math.sin(a), Math.sin(e)];
    this.up = cross(this.eye, this.right);
  }

  resize(width, height) {
    this.size = { width, height };
  }

  turn(sideways, upwards) {
    this.azimuth = (this.azimuth + sideways) % 360;
    this.elevation = Math.max(-STEEPEST, Math.min(STEEPEST, this.elevation + upwards));
    this.aim();
  }

  nearer(times) {
    this.zoom = Math.max(FARTHEST, Math.min(NEAREST, this.zoom * times));
  }

  /* By pixels of the stage: right and up. */
  pan(x, y) {
    this.aside = [this.aside[0] + x / this.scale, this.aside[1] + y / this.scale];
  }

  /* Pixels a millimetre is long. */
  get scale() {
    return this.zoom * FILLS * Math.min(this.size.width / this.fits.width, this.size.height / this.fits.height);
  }

  /* A point in mm to pixels of the stage: x right, y down. */
  place(point) {
    const from = point.map((value, axis) => value - this.middle[axis]);
    const scale = this.scale;
    return [
      this.size.width / 2 + (this.aside[0] + dot(this.right, from)) * scale,
      this.size.height / 2 - (this.aside[1] + dot(this.up, from)) * scale,
    ];
  }

  /* Millimetres to the box that is drawn, column by column. ``depth``: mm from the middle to what lies farthest. */
  matrix(depth) {
    const [sx, sy] = [(2 * this.scale) / this.size.width, (2 * this.scale) / this.size.height];
    const rows = [this.right.map((v) => v * sx), this.up.map((v) => v * sy), this.eye.map((v) => -v / depth)];
    const shift = [this.aside[0] * sx, this.aside[1] * sy, 0];
    const last = rows.map((row, axis) => shift[axis] - dot(row, this.middle));
    return new Float32Array([0, 1, 2].flatMap((axis) => [...rows.map((row) => row[axis]), 0]).concat(last, 1));
  }

  /* The light stands at the eye's upper left, as in the picture (meshcheck.picture.LIGHT, y down there). */
  get light() {
    return this.right.map((_, axis) => -0.62 * this.right[axis] + 0.3 * this.up[axis] + 0.72 * this.eye[axis]);
  }
}
