/* The two programs: faces, and lines. Patterns lie on the screen, so that they are as wide on every face. */

const PLACE = `#version 300 es
precision highp float;
layout(location = 0) in vec3 aSteps;
uniform mat4 uTurn;
uniform vec3 uLow, uStep;
out vec3 vPlace;
`;

export const FACE_VERTEX = `${PLACE}
layout(location = 1) in uint aFlags;
flat out uint vFlags;
void main() {
  vPlace = aSteps * uStep + uLow;
  vFlags = aFlags;
  gl_Position = uTurn * vec4(vPlace, 1.0);
}`;

export const LINE_VERTEX = `${PLACE}
uniform float uNearer;
void main() {
  vPlace = aSteps * uStep + uLow;
  gl_Position = uTurn * vec4(vPlace, 1.0);
  gl_Position.z -= uNearer;
}`;

const CUT = `
uniform vec4 uCut;
bool cutAway(vec3 place) { return dot(place, uCut.xyz) > uCut.w; }
`;

/* Bits of a face, as in queue/meshcheck/shown/flags.py: 1 steep, 2 resting, 4 thin, 8 open, 16 crossing. */
export const FACE_FRAGMENT = `#version 300 es
precision highp float;
precision highp int;
in vec3 vPlace;
flat in uint vFlags;
uniform vec3 uEye, uLight, uDark, uBright, uInk, uPencil, uCare, uPen, uSheet;
uniform uint uShow;
uniform float uDot;
uniform bool uIsCut, uGhost;
out vec4 colour;
${CUT}
void main() {
  if (cutAway(vPlace)) discard;
  vec2 at = floor(gl_FragCoord.xy / uDot);
  if (uGhost) {
    if (mod(at.x, 4.0) > 0.5 || mod(at.y + 2.0 * mod(floor(at.x / 4.0), 2.0), 4.0) > 0.5) discard;
    colour = vec4(uPen, 1.0);
    return;
  }
  if (uIsCut && !gl_FrontFacing) {
    colour = vec4(mod(at.x - at.y, 9.0) < 1.6 ? uPen : uSheet, 1.0);
    return;
  }
  vec3 normal = normalize(cross(dFdx(vPlace), dFdy(vPlace)));
  if (dot(normal, uEye) < 0.0) normal = -normal;
  float light = clamp((dot(normal, uLight) + 0.35) / 1.25, 0.0, 1.0);
  vec3 shade = mix(uDark, uBright, light);
  uint seen = vFlags & uShow;
  if ((seen & 2u) != 0u && mod(at.x, 6.0) < 1.8 && mod(at.y + 3.0 * mod(floor(at.x / 6.0), 2.0), 6.0) < 1.8) shade = uInk;
  if ((seen & 1u) != 0u && mod(at.x - at.y, 6.0) < 2.0) shade = uPencil;
  if ((seen & 4u) != 0u && (mod(at.x, 5.0) < 1.0 || mod(at.y, 5.0) < 1.0)) shade = uPencil;
  if ((seen & 8u) != 0u && mod(at.x + at.y, 7.0) < 2.0) shade = uInk;
  if ((seen & 16u) != 0u && mod(floor(at.x / 4.0) + floor(at.y / 4.0), 2.0) < 0.5) shade = uCare;
  colour = vec4(shade, 1.0);
}`;

export const LINE_FRAGMENT = `#version 300 es
precision highp float;
in vec3 vPlace;
uniform vec4 uColour;
out vec4 colour;
${CUT}
void main() {
  if (cutAway(vPlace)) discard;
  colour = uColour;
}`;
