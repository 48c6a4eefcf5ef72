/* Our own mesh form (documented in queue/meshcheck/shown/binary.py) as arrays, and as the buffers that are drawn. */

const HEADER_BYTES = 48;
const MAGIC = "MKM1";
const CORNER_SHORTS = 4; // three coordinates in steps, and the flags of the face
const FINEST_GRID = 160; // cells along the longest side that are tried first
const GRID_SIDE = 1024; // more than any side has cells

export async function fetchMesh(url, signal) {
  const answer = await fetch(url, { credentials: "same-origin", signal });
  if (!answer.ok) throw new Error(`mesh: ${answer.status}`);
  return readMesh(await answer.arrayBuffer());
}

export function readMesh(buffer) {
  const head = new DataView(buffer);
  const magic = String.fromCharCode(...new Uint8Array(buffer, 0, 4));
  if (magic !== MAGIC) throw new Error("not a mesh of ours");
  const [vertices, faces, lines, measured, bits] = [4, 8, 12, 16, 20].map((at) => head.getUint32(at, true));
  const three = (at) => [0, 4, 8].map((more) => head.getFloat32(at + more, true));
  const low = three(24);
  const step = three(36);
  const places = new Uint16Array(buffer, HEADER_BYTES, 3 * vertices);
  const facesAt = HEADER_BYTES + Math.ceil((6 * vertices) / 4) * 4;
  const corners = new Uint32Array(buffer, facesAt, 3 * faces);
  const ends = new Uint32Array(buffer, facesAt + 12 * faces, 2 * lines);
  const flags = new Uint8Array(buffer, facesAt + 12 * faces + 8 * lines, faces);
  const high = low.map((edge, axis) => edge + highest(places, axis) * step[axis]);
  return { vertices, faces, lines, measured, bits, low, high, step, places, corners, ends, flags };
}

function highest(places, axis) {
  let most = 0;
  for (let at = axis; at < places.length; at += 3) if (places[at] > most) most = places[at];
  return most;
}

/* Corners and the numbers of each face's three. A corner is shared by the faces whose flags are the same there, for what
   is drawn flat takes its flags from one corner. 8 bytes a corner. */
export function indexedFaces(mesh) {
  const { corners, places, faces, flags } = mesh;
  const first = new Int32Array(places.length / 3).fill(-1); // corner made first for a vertex
  const others = new Map(); // the few vertices where faces of other flags meet
  const index = new Uint32Array(3 * faces);
  const made = new Uint16Array(CORNER_SHORTS * 3 * faces);
  let count = 0;
  for (let at = 0; at < 3 * faces; at += 1) {
    const vertex = corners[at];
    const flag = flags[(at / 3) | 0];
    let corner = first[vertex];
    if (corner >= 0 && made[CORNER_SHORTS * corner + 3] !== flag) corner = others.get(vertex * 256 + flag) ?? -1;
    if (corner < 0) {
      corner = count;
      count += 1;
      made.set([places[3 * vertex], places[3 * vertex + 1], places[3 * vertex + 2], flag], CORNER_SHORTS * corner);
      if (first[vertex] < 0) first[vertex] = corner;
      else others.set(vertex * 256 + flag, corner);
    }
    index[at] = corner;
  }
  return { corners: made.subarray(0, CORNER_SHORTS * count), index };
}

/* The mesh with its vertices joined on a grid, of no more than ``most`` faces: for turning where drawing is slow. The
   mesh itself when it has no more. */
export function coarser(mesh, most) {
  if (mesh.faces <= most) return mesh;
  const longest = Math.max(...mesh.high.map((edge, axis) => edge - mesh.low[axis]));
  for (let cells = FINEST_GRID; ; cells *= 0.8) {
    const made = joined(mesh, longest / cells);
    if (made.faces <= most) return made;
  }
}

function joined(mesh, size) {
  const { places, corners, flags, ends, step, vertices } = mesh;
  const scale = step.map((mm) => mm / size);
  const numbers = new Map();
  const cellOf = new Uint32Array(vertices);
  const sums = new Float64Array(4 * vertices);
  for (let v = 0; v < vertices; v += 1) {
    const [x, y, z] = [0, 1, 2].map((axis) => Math.floor(places[3 * v + axis] * scale[axis]));
    const key = (x * GRID_SIDE + y) * GRID_SIDE + z;
    let cell = numbers.get(key);
    if (cell === undefined) numbers.set(key, (cell = numbers.size));
    cellOf[v] = cell;
    for (let axis = 0; axis < 3; axis += 1) sums[4 * cell + axis] += places[3 * v + axis];
    sums[4 * cell + 3] += 1;
  }
  const middles = new Uint16Array(3 * numbers.size);
  for (let cell = 0; cell < numbers.size; cell += 1) {
    for (let axis = 0; axis < 3; axis += 1) middles[3 * cell + axis] = Math.round(sums[4 * cell + axis] / sums[4 * cell + 3]);
  }
  const [kept, marks] = [[], []];
  for (let face = 0; face < mesh.faces; face += 1) {
    const [a, b, c] = [cellOf[corners[3 * face]], cellOf[corners[3 * face + 1]], cellOf[corners[3 * face + 2]]];
    if (a === b || b === c || c === a) continue;
    kept.push(a, b, c);
    marks.push(flags[face]);
  }
  const lines = new Map();
  for (let end = 0; end < ends.length; end += 2) {
    const [a, b] = [cellOf[ends[end]], cellOf[ends[end + 1]]];
    if (a !== b) lines.set(Math.min(a, b) * vertices + Math.max(a, b), [a, b]);
  }
  return { ...mesh, vertices: numbers.size, faces: marks.length, lines: lines.size, places: middles, corners: Uint32Array.from(kept), flags: Uint8Array.from(marks), ends: Uint32Array.from([...lines.values()].flat()) };
}

export function lineCorners(mesh) {
  const made = new Uint16Array(mesh.ends.length * CORNER_SHORTS);
  for (let end = 0, to = 0; end < mesh.ends.length; end += 1, to += CORNER_SHORTS) {
    made.set(mesh.places.subarray(mesh.ends[end] * 3, mesh.ends[end] * 3 + 3), to);
  }
  return made;
}
