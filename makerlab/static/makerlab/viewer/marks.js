/* What is written over the drawn part on a plain canvas: two rulers with millimetres, and the measured hole. */

const STEPS_MM = [0.1, 0.2, 0.5, 1, 2, 5, 10, 20, 50, 100, 200];
const NUMBER_PX = 34; // room a number needs
const AWAY_PX = 14; // from the part to its ruler
const TURNS = 48;

const cross = (a, b) => [a[1] * b[2] - a[2] * b[1], a[2] * b[0] - a[0] * b[2], a[0] * b[1] - a[1] * b[0]];
const along = (from, way, length) => from.map((value, axis) => value + way[axis] * length);
const unit = (v) => v.map((value) => value / Math.hypot(...v));

export function drawMarks(pen, camera, colours, look, part) {
  const { width, height } = camera.size;
  pen.clearRect(0, 0, width, height);
  pen.font = `600 12px ${colours.font}`;
  pen.lineJoin = "round";
  if (look.bed) for (const axis of [0, 1]) drawRuler(pen, camera, colours, axis, part.lang);
  if (look.hole && part.hole) drawHole(pen, camera, colours, part);
}

function stroke(pen, points, colour, width) {
  pen.beginPath();
  points.forEach(([x, y], i) => (i ? pen.lineTo(x, y) : pen.moveTo(x, y)));
  pen.strokeStyle = colour;
  pen.lineWidth = width;
  pen.stroke();
}

function write(pen, text, [x, y], colours, colour) {
  pen.lineWidth = 4;
  pen.strokeStyle = colours.css.sunk;
  pen.strokeText(text, x, y);
  pen.fillStyle = colour;
  pen.fillText(text, x, y);
}

/* How many of some points along a line lie on the stage. */
function onStage(camera, from, way, length) {
  const { width, height } = camera.size;
  const seen = (share) => {
    const [x, y] = camera.place(along(from, way, share * length));
    return x > 0 && x < width && y > 0 && y < height - NUMBER_PX / 2;
  };
  return [0, 0.25, 0.5, 0.75, 1].filter(seen).length;
}

/* Along the lower edge of the part that lies nearest to the foot of the stage, or the other one where more of it is
   seen. */
function drawRuler(pen, camera, colours, axis, lang) {
  const { low, high } = camera;
  const other = 1 - axis;
  const length = high[axis] - low[axis];
  const edges = [low[other], high[other]].map((value) => {
    const from = [0, 0, low[2]];
    [from[axis], from[other]] = [low[axis], value];
    return from;
  });
  const way = axis ? [0, 1, 0] : [1, 0, 0];
  const foot = (from) => camera.place(along(from, way, length / 2))[1];
  const seenOf = (from) => onStage(camera, from, way, length);
  const [far, near] = edges.sort((a, b) => seenOf(a) - seenOf(b) || foot(a) - foot(b));
  const away = near[other] > far[other] ? 1 : -1;
  const scale = camera.scale;
  const out = along([0, 0, 0], axis ? [away, 0, 0] : [0, away, 0], AWAY_PX / scale);
  const start = near.map((value, i) => value + out[i]);
  const ends = [camera.place(start), camera.place(along(start, way, length))];
  const seen = Math.hypot(ends[1][0] - ends[0][0], ends[1][1] - ends[0][1]);
  if (seen < NUMBER_PX) return;
  const step = STEPS_MM.find((mm) => (mm / length) * seen >= NUMBER_PX) ?? STEPS_MM.at(-1);
  stroke(pen, ends, colours.css.soft, 1.25);
  pen.textAlign = "center";
  pen.textBaseline = "middle";
  const tick = (mm, px) => {
    const at = along(start, way, mm);
    const [x, y] = camera.place(at);
    const [ox, oy] = camera.place(at.map((value, i) => value + out[i]));
    const reach = Math.hypot(ox - x, oy - y) || 1;
    const to = [x + ((ox - x) / reach) * px, y + ((oy - y) / reach) * px];
    stroke(pen, [[x, y], to], colours.css.soft, 1.25);
    return to;
  };
  for (let mm = 0; mm <= length + 1e-6; mm += step / 5) tick(mm, 4);
  for (let mm = 0; mm <= length + 1e-6; mm += step) {
    const [x, y] = tick(mm, 8);
    const last = mm + step > length + 1e-6;
    const text = mm.toLocaleString(lang, { maximumFractionDigits: 1 });
    write(pen, last ? `${text} mm` : text, [x + (last ? 8 : 0), y + 9], colours, colours.css.ink);
  }
}

/* The circle at the end that looks to the eye, the axis drawn out, and the figure. */
function drawHole(pen, camera, colours, { hole, holeText }) {
  const towards = hole.axis.reduce((sum, value, i) => sum + value * camera.eye[i], 0) < 0 ? -1 : 1;
  const axis = hole.axis.map((value) => value * towards);
  const mouth = along(hole.centre, axis, hole.depth / 2);
  const across = unit(cross(axis, Math.abs(axis[0]) < 0.9 ? [1, 0, 0] : [0, 1, 0]));
  const beside = cross(axis, across);
  const rim = Array.from({ length: TURNS + 1 }, (_, i) => {
    const angle = (i / TURNS) * 2 * Math.PI;
    return camera.place(along(along(mouth, across, (Math.cos(angle) * hole.diameter) / 2), beside, (Math.sin(angle) * hole.diameter) / 2));
  });
  const reach = hole.depth / 2 + Math.max(hole.diameter, hole.depth / 2);
  const line = [camera.place(along(hole.centre, axis, -reach)), camera.place(along(hole.centre, axis, reach))];
  const { pen: blue, sunk } = colours.css;
  for (const [colour, wide] of [[sunk, 4], [blue, 1.75]]) stroke(pen, rim, colour, wide);
  pen.setLineDash([10, 3, 2, 3]);
  stroke(pen, line, blue, 1.5);
  pen.setLineDash([]);
  const start = rim.reduce((best, at) => (at[0] - at[1] > best[0] - best[1] ? at : best));
  const end = [camera.size.width - 10, 26];
  const wide = pen.measureText(holeText).width;
  stroke(pen, [start, [end[0] - wide, end[1]], end], blue, 1.25);
  pen.textAlign = "right";
  pen.textBaseline = "alphabetic";
  write(pen, holeText, [end[0], end[1] - 6], colours, blue);
}
