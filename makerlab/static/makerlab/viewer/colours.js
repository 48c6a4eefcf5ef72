/* The page's own colours, as the drawing needs them: read from the page, so that dark and forced colours are followed.
   A custom property may be a pair for light and dark; a probe with that colour says which one holds. */

const NAMES = {
  ink: "--ink", soft: "--ink-soft", edge: "--edge", pen: "--pen", sunk: "--sunk",
};
/* Faces of a part stay light on the dark page too: their marks are then the same on both, as in the picture. */
const FIXED = {
  dark: [126, 140, 153], bright: [240, 243, 241], ink: [22, 32, 51], pencil: [171, 42, 34], care: [125, 82, 0], pen: [41, 64, 166], sheet: [255, 255, 252],
};
const MORE_CONTRAST = { dark: [90, 102, 114], bright: [255, 255, 255], ink: [0, 0, 0] };

const numbers = (css) => (css.match(/[\d.]+/g) ?? [0, 0, 0]).slice(0, 3).map(Number);
const shares = (rgb) => rgb.map((value) => value / 255);

export function pageColours(stage) {
  const probe = document.createElement("span");
  probe.hidden = true;
  stage.append(probe);
  const css = {};
  for (const [key, name] of Object.entries(NAMES)) {
    probe.style.color = `var(${name})`;
    css[key] = getComputedStyle(probe).color;
  }
  const font = getComputedStyle(stage).fontFamily;
  probe.remove();
  const fixed = matchMedia("(prefers-contrast: more)").matches ? { ...FIXED, ...MORE_CONTRAST } : FIXED;
  const drawn = Object.fromEntries(Object.entries(fixed).map(([key, value]) => [key, shares(value)]));
  for (const [key, name] of [["rule", "edge"], ["soft", "soft"], ["ghost", "pen"]]) drawn[key] = shares(numbers(css[name]));
  return { ...drawn, css, font };
}

/* Calls back when the page turns light, dark or more contrasting. Returns the way to stop. */
export function onColourChange(changed) {
  const asked = ["(prefers-color-scheme: dark)", "(prefers-contrast: more)", "(forced-colors: active)"].map((query) => matchMedia(query));
  for (const media of asked) media.addEventListener("change", changed);
  return () => asked.forEach((media) => media.removeEventListener("change", changed));
}
