/* What is drawn with WebGL: the part, its sharp edges, the bed, and the version before as a ghost. The buffers are
   filled once; a frame only sets a few values and draws. */

import { coarser, indexedFaces, lineCorners } from "./mesh.js";
import { FACE_FRAGMENT, FACE_VERTEX, LINE_FRAGMENT, LINE_VERTEX } from "./shaders.js";

const CORNER_BYTES = 8;
const BED_STEP_MM = 10;
const ALL = [0, 0, 0, 1];
export const COARSE_FACES = 6000; // while it is turned, where drawing all of it is slow
const OVER_FACES = 0.0006; // how much nearer a line is drawn than the faces beside it

function program(gl, vertex, fragment) {
  const made = gl.createProgram();
  for (const [kind, text] of [[gl.VERTEX_SHADER, vertex], [gl.FRAGMENT_SHADER, fragment]]) {
    const shader = gl.createShader(kind);
    gl.shaderSource(shader, text);
    gl.compileShader(shader);
    gl.attachShader(made, shader);
    gl.deleteShader(shader);
  }
  gl.linkProgram(made);
  if (!gl.getProgramParameter(made, gl.LINK_STATUS) && !gl.isContextLost()) throw new Error(gl.getProgramInfoLog(made));
  const at = {};
  for (let i = 0; i < gl.getProgramParameter(made, gl.ACTIVE_UNIFORMS); i += 1) {
    const { name } = gl.getActiveUniform(made, i);
    at[name] = gl.getUniformLocation(made, name);
  }
  return { made, at };
}

/* A vertex array of corners; faces also carry their flags. */
function filled(gl, data, kind, withFlags) {
  const array = gl.createVertexArray();
  gl.bindVertexArray(array);
  gl.bindBuffer(gl.ARRAY_BUFFER, gl.createBuffer());
  gl.bufferData(gl.ARRAY_BUFFER, data, gl.STATIC_DRAW);
  const bytes = kind === gl.FLOAT ? 12 : CORNER_BYTES;
  gl.enableVertexAttribArray(0);
  gl.vertexAttribPointer(0, 3, kind, false, bytes, 0);
  if (withFlags) {
    gl.enableVertexAttribArray(1);
    gl.vertexAttribIPointer(1, 1, gl.UNSIGNED_SHORT, bytes, 6);
  }
  return { array, count: data.byteLength / bytes };
}

export class Scene {
  constructor(gl) {
    this.gl = gl;
    this.faces = program(gl, FACE_VERTEX, FACE_FRAGMENT);
    this.lines = program(gl, LINE_VERTEX, LINE_FRAGMENT);
    gl.enable(gl.DEPTH_TEST);
    gl.depthFunc(gl.LEQUAL);
    gl.blendFunc(gl.SRC_ALPHA, gl.ONE_MINUS_SRC_ALPHA);
  }

  solid(mesh, low) {
    const { gl } = this;
    const { corners, index } = indexedFaces(mesh);
    const faces = filled(gl, corners, gl.UNSIGNED_SHORT, true);
    gl.bindBuffer(gl.ELEMENT_ARRAY_BUFFER, gl.createBuffer());
    gl.bufferData(gl.ELEMENT_ARRAY_BUFFER, index, gl.STATIC_DRAW);
    gl.bindVertexArray(null);
    return { mesh, low, faces: { ...faces, count: index.length }, lines: filled(gl, lineCorners(mesh), gl.UNSIGNED_SHORT, false) };
  }

  put(mesh) {
    this.part = this.solid(mesh, mesh.low);
  }

  /* ``shift`` lays the ghost over the part, in mm. */
  putGhost(mesh, shift) {
    this.ghost = this.solid(mesh, mesh.low.map((edge, axis) => edge + shift[axis]));
  }

  /* What is drawn while it moves: few faces where all of them are slow. Made when it is first needed. */
  coarse(solid) {
    if (!solid.few) {
      const few = coarser(solid.mesh, COARSE_FACES);
      solid.few = few === solid.mesh ? solid : this.solid(few, solid.low);
    }
    return solid.few;
  }

  /* The bed as squares of 10 mm under the part. Returns its corners. */
  putBed(low, high, size) {
    const middle = [0, 1].map((axis) => (low[axis] + high[axis]) / 2);
    const half = [0, 1].map((axis) => Math.max(size?.[axis] ?? 0, high[axis] - low[axis] + 2 * BED_STEP_MM) / 2);
    const [from, to] = [[0, 1].map((a) => middle[a] - half[a]), [0, 1].map((a) => middle[a] + half[a])];
    const z = low[2];
    const ends = [];
    for (let x = from[0]; x <= to[0] + 1e-6; x += BED_STEP_MM) ends.push(x, from[1], z, x, to[1], z);
    for (let y = from[1]; y <= to[1] + 1e-6; y += BED_STEP_MM) ends.push(from[0], y, z, to[0], y, z);
    const edge = [from[0], from[1], z, to[0], from[1], z, to[0], from[1], z, to[0], to[1], z, to[0], to[1], z, from[0], to[1], z, from[0], to[1], z, from[0], from[1], z];
    this.bed = filled(this.gl, new Float32Array(ends), this.gl.FLOAT, false);
    this.bedEdge = filled(this.gl, new Float32Array(edge), this.gl.FLOAT, false);
    this.depth = Math.hypot(half[0], half[1], high[2] - low[2]) * 2;
  }

  /* ``few``: with few faces, while it moves. */
  draw(camera, colours, look, dotPx, few = false) {
    const { gl } = this;
    const part = few ? this.coarse(this.part) : this.part;
    const ghost = look.ghost && this.ghost ? (few ? this.coarse(this.ghost) : this.ghost) : null;
    gl.viewport(0, 0, gl.drawingBufferWidth, gl.drawingBufferHeight);
    gl.clearColor(0, 0, 0, 0);
    gl.clear(gl.COLOR_BUFFER_BIT | gl.DEPTH_BUFFER_BIT);
    const frame = { turn: camera.matrix(this.depth), camera, colours, look, dotPx };
    this.drawFaces(part, frame, false);
    if (ghost) this.drawFaces(ghost, frame, true);
    if (look.bed) {
      gl.enable(gl.BLEND);
      this.drawLines(this.bed, [0, 0, 0], [1, 1, 1], frame, [...colours.rule, 0.35], ALL, 0);
      this.drawLines(this.bedEdge, [0, 0, 0], [1, 1, 1], frame, [...colours.soft, 1], ALL, 0);
      gl.disable(gl.BLEND);
    }
    this.drawLines(part.lines, part.low, part.mesh.step, frame, [...colours.ink, 1], look.cut ?? ALL, OVER_FACES);
    if (ghost) {
      gl.disable(gl.DEPTH_TEST);
      gl.enable(gl.BLEND);
      this.drawLines(ghost.lines, ghost.low, ghost.mesh.step, frame, [...colours.ghost, 0.6], look.cut ?? ALL, 0);
      gl.disable(gl.BLEND);
      gl.enable(gl.DEPTH_TEST);
    }
  }

  drawFaces(solid, frame, ghost) {
    const { gl, faces: { made, at } } = this;
    const { turn, camera, colours, look, dotPx } = frame;
    gl.useProgram(made);
    gl.uniformMatrix4fv(at.uTurn, false, turn);
    gl.uniform3fv(at.uLow, solid.low);
    gl.uniform3fv(at.uStep, solid.mesh.step);
    gl.uniform3fv(at.uEye, camera.eye);
    gl.uniform3fv(at.uLight, camera.light);
    for (const [name, key] of [["uDark", "dark"], ["uBright", "bright"], ["uInk", "ink"], ["uPencil", "pencil"], ["uCare", "care"], ["uPen", ghost ? "ghost" : "pen"], ["uSheet", "sheet"]]) {
      gl.uniform3fv(at[name], colours[key]);
    }
    gl.uniform1ui(at.uShow, ghost ? 0 : look.flags);
    gl.uniform1f(at.uDot, dotPx);
    gl.uniform1i(at.uGhost, ghost ? 1 : 0);
    gl.uniform1i(at.uIsCut, look.cut ? 1 : 0);
    gl.uniform4fv(at.uCut, look.cut ?? ALL);
    gl.bindVertexArray(solid.faces.array);
    gl.drawElements(gl.TRIANGLES, solid.faces.count, gl.UNSIGNED_INT, 0);
  }

  drawLines(lines, low, step, frame, colour, cut, nearer) {
    const { gl, lines: { made, at } } = this;
    if (!lines.count) return;
    gl.useProgram(made);
    gl.uniformMatrix4fv(at.uTurn, false, frame.turn);
    gl.uniform3fv(at.uLow, low);
    gl.uniform3fv(at.uStep, step);
    gl.uniform4fv(at.uColour, colour);
    gl.uniform4fv(at.uCut, cut);
    gl.uniform1f(at.uNearer, nearer);
    gl.bindVertexArray(lines.array);
    gl.drawArrays(gl.LINES, 0, lines.count);
  }
}
