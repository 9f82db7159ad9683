// The tank from the front: every coil at its place, its duty, its heat, what was cut, its fluid.
import { AMBER, BLUE, fitted, GROUND, INK, ORANGE, PURPLE, RIM, SKY, SOFT, VERMILION } from "./colour.js";

const CUTS = [["heat", "H", VERMILION], ["rail", "S", ORANGE], ["driver", "D", PURPLE]];
const SEEN = 0.02;

export const KEY = [
  ["amber disc", "duty"], ["dashed ring", "wish"], ["black blob", "fluid, computed"],
  ["outer arc", "heat used, closing at its bound"], ["H S D", "cut by heat, supply, driver"],
];

export class Tank {
  constructor(canvas, about, chosen) {
    this.canvas = canvas;
    this.about = about;
    this.coil = null;
    this.dimmed = null;
    this.chosen = chosen;
    const xs = about.coils.map((c) => c.x_mm), ys = about.coils.map((c) => c.y_mm);
    this.box = [Math.min(...xs), Math.max(...xs), Math.min(...ys), Math.max(...ys)];
    this.gap = nearest(about.coils);
    canvas.addEventListener("pointermove", (e) => this.point(e, false));
    canvas.addEventListener("pointerdown", (e) => this.point(e, true));
    canvas.addEventListener("keydown", (e) => this.key(e));
  }

  layout(w, h) {
    const [x0, x1, y0, y1] = this.box, pad = this.gap * 0.7;
    const scale = Math.min(w / (x1 - x0 + 2 * pad), h / (y1 - y0 + 2 * pad));
    const place = (c) => [w / 2 + (c.x_mm - (x0 + x1) / 2) * scale, h / 2 - (c.y_mm - (y0 + y1) / 2) * scale];
    return { place, r: Math.min(this.gap * scale * 0.42, 46) };
  }

  choose(index) { this.coil = index; this.chosen(index); }

  point(event, pick) {
    const { place } = this.layout(this.canvas.clientWidth, this.canvas.clientHeight);
    let best = null, far = Infinity;
    this.about.coils.forEach((coil, index) => {
      const [x, y] = place(coil), d = Math.hypot(x - event.offsetX, y - event.offsetY);
      if (d < far) { far = d; best = index; }
    });
    if (best !== null && (pick || best !== this.coil) && !(document.activeElement?.id === "trim" && !pick)) this.choose(best);
  }

  key(event) {
    const step = { ArrowRight: [1, 0], ArrowLeft: [-1, 0], ArrowUp: [0, 1], ArrowDown: [0, -1] }[event.key];
    if (!step) return;
    event.preventDefault();
    if (this.coil === null) return this.choose(0);
    const here = this.about.coils[this.coil];
    let best = null, far = Infinity;
    this.about.coils.forEach((coil, index) => {
      const dx = coil.x_mm - here.x_mm, dy = coil.y_mm - here.y_mm;
      const along = dx * step[0] + dy * step[1], across = Math.abs(dx * step[1]) + Math.abs(dy * step[0]);
      if (along > 1e-6 && along + 2 * across < far) { far = along + 2 * across; best = index; }
    });
    if (best !== null) this.choose(best);
  }

  draw(look) {
    const it = fitted(this.canvas);
    if (!it) return;
    const { g, w, h } = it, { place, r } = this.layout(w, h), { about } = this;
    const turn = 2 * Math.PI, marks = r > 9;
    about.coils.forEach((coil, index) => {
      const [x, y] = place(coil);
      const duty = look.duty[index], wish = look.wish[index], fluid = Math.max(look.fluid[index], 0);
      g.globalAlpha = this.dimmed && !this.dimmed.has(index) ? 0.35 : 1;
      g.lineWidth = 1;
      g.strokeStyle = RIM;
      circle(g, x, y, r);
      g.stroke();
      if (Math.abs(duty) > 0.002) {
        g.fillStyle = duty < 0 ? SKY : AMBER;
        circle(g, x, y, r * 0.82 * Math.sqrt(Math.min(Math.abs(duty), 1)));
        g.fill();
      }
      // Fluid: black, as wide as it is high; less than the duty shows while it still rises.
      if (fluid > 0.01) {
        g.fillStyle = "#050506";
        g.strokeStyle = "#c9ccd1";
        g.lineWidth = 1.5;
        circle(g, x, y, r * 0.6 * Math.sqrt(Math.min(fluid, 1.5)));
        g.fill();
        g.stroke();
      }
      if (marks && Math.abs(wish) > SEEN) {
        g.lineWidth = 1;
        g.strokeStyle = INK;
        g.setLineDash([2, 2]);
        circle(g, x, y, r * 0.82 * Math.sqrt(Math.min(Math.abs(wish), 1)));
        g.stroke();
        g.setLineDash([]);
      }
      const used = this.used(look, index);
      g.lineWidth = Math.max(r * 0.12, 2);
      g.strokeStyle = used > 0.9 ? VERMILION : BLUE;
      g.beginPath();
      g.arc(x, y, r * 1.08, -turn / 4, -turn / 4 + turn * Math.min(Math.max(used, 0), 1));
      g.stroke();
      if (marks) this.mark(g, look, index, x, y, r);
      if (index === this.coil) {
        g.globalAlpha = 1;
        g.lineWidth = 2;
        g.strokeStyle = INK;
        circle(g, x, y, r * 1.26);
        g.stroke();
      }
    });
    g.globalAlpha = 1;
    if (look.quiet) { g.fillStyle = SOFT; g.font = "13px system-ui"; g.fillText("quiet: at rest", 8, h - 8); }
  }

  // Part of its rise that a coil has used, of winding and backing the nearer to its bound.
  used(look, index) {
    const { bound_c: bound, room_c: room, coils } = this.about;
    const part = (node) => (look.node[node] - room) / (bound[node] - room);
    return Math.max(part(index), part(index + coils.length));
  }

  mark(g, look, index, x, y, r) {
    const cut = CUTS.filter(([name]) => look[name][index] > SEEN);
    g.font = `700 ${Math.max(r * 0.42, 9)}px system-ui`;
    g.textAlign = "center";
    cut.forEach(([, letter, colour], n) => {
      const left = x + (n - (cut.length - 1) / 2) * r * 0.5;
      g.lineWidth = 3;
      g.strokeStyle = GROUND;
      g.strokeText(letter, left, y + r * 0.95);
      g.fillStyle = colour;
      g.fillText(letter, left, y + r * 0.95);
    });
    g.textAlign = "left";
  }

  // A sentence about the chosen coil.
  words(look, trims) {
    if (this.coil === null) return null;
    const i = this.coil, { coils, bound_c: bound } = this.about;
    const two = (value) => value.toFixed(2);
    const cut = CUTS.filter(([name]) => look[name][i] > 0.001)
      .map(([name]) => `${two(look[name][i])} by ${name === "rail" ? "supply" : name}`).join(", ");
    return `${coils[i].label}: duty ${two(look.duty[i])}, wish ${two(look.wish[i])}, fluid ${two(look.fluid[i])}; ` +
      `winding ${look.node[i].toFixed(1)} of ${bound[i].toFixed(1)} C, backing ${look.node[i + coils.length].toFixed(1)} of ` +
      `${bound[i + coils.length].toFixed(1)} C; ${cut ? `cut ${cut}` : "nothing cut"}; trim ${trims[i]}`;
  }
}

function circle(g, x, y, r) { g.beginPath(); g.arc(x, y, Math.max(r, 0), 0, 2 * Math.PI); }

function nearest(coils) {
  let least = Infinity;
  for (let a = 0; a < coils.length; a += 1) {
    for (let b = a + 1; b < coils.length; b += 1) {
      least = Math.min(least, Math.hypot(coils[a].x_mm - coils[b].x_mm, coils[a].y_mm - coils[b].y_mm));
    }
  }
  return Number.isFinite(least) && least > 0 ? least : 40;
}
