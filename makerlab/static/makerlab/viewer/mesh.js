/* Our own mesh form (documented in queue/meshcheck/shown/binary.py) as arrays, and as the buffers that are drawn. */

const HEADER_BYTES = 48;
const MAGIC = "MKM1";
const CORNER_SHORTS = 4; // three coordinates in steps, and the flags of the face

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

/* Every face has corners of its own, for its flags are its own: 8 bytes a corner. */
export function faceCorners(mesh) {
  const made = new Uint16Array(mesh.faces * 3 * CORNER_SHORTS);
  for (let corner = 0, to = 0; corner < mesh.faces * 3; corner += 1, to += CORNER_SHORTS) {
    const from = mesh.corners[corner] * 3;
    made[to] = mesh.places[from];
    made[to + 1] = mesh.places[from + 1];
    made[to + 2] = mesh.places[from + 2];
    made[to + 3] = mesh.flags[(corner / 3) | 0];
  }
  return made;
}

export function lineCorners(mesh) {
  const made = new Uint16Array(mesh.ends.length * CORNER_SHORTS);
  for (let end = 0, to = 0; end < mesh.ends.length; end += 1, to += CORNER_SHORTS) {
    made.set(mesh.places.subarray(mesh.ends[end] * 3, mesh.ends[end] * 3 + 3), to);
  }
  return made;
}
