// The program's own colours: what has one in its pictures has the same here. All keep their order
// without colour as well: marks have letters, lines have widths and dashes.
export const INK = "#e8e6e1", SOFT = "#a9a8a3", RIM = "#33363d", GROUND = "#131417", PANEL = "#1b1d21";
export const SEA = "#4cc2a5", AMBER = "#f0b040", SKY = "#56b4e9", VERMILION = "#ee7733", PURPLE = "#cc79a7", ORANGE = "#e69f00", BLUE = "#5aa0e0";

// A canvas at the screen's own dots; returns its context scaled to CSS pixels, or null when hidden.
export function fitted(canvas) {
  const ratio = Math.min(window.devicePixelRatio || 1, 2);
  const [w, h] = [canvas.clientWidth, canvas.clientHeight];
  if (w === 0 || h === 0) return null;
  const [pw, ph] = [Math.round(w * ratio), Math.round(h * ratio)];
  if (canvas.width !== pw || canvas.height !== ph) { canvas.width = pw; canvas.height = ph; }
  const g = canvas.getContext("2d");
  g.setTransform(ratio, 0, 0, ratio, 0, 0);
  g.clearRect(0, 0, w, h);
  return { g, w, h };
}
