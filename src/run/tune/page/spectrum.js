// The sound's spectrum with the routes' bands on it; their edges can be dragged.
import { AMBER, fitted, GROUND, INK, RIM, SEA, SOFT } from "./colour.js";
import { Drag } from "./link.js";
import { make } from "./fields.js";

const FLOOR_DB = -90, TOP_DB = 0, TICKS = [31.5, 63, 125, 250, 500, 1000, 2000, 4000, 8000, 16000];
// A step of an arrow key, in octaves: a twelfth, and with Shift a third.
const STEP = 1 / 12, WIDE = 1 / 3;

export class Spectrum {
  constructor(home, about, link, say, chosen) {
    this.canvas = home.querySelector("canvas");
    this.edges = home.querySelector("#edges");
    this.readout = document.querySelector("#hz");
    [this.low, this.high] = about.spectrum_hz;
    this.link = link;
    this.say = say;
    this.chosen = chosen;
    this.handles = [];
    this.shape = "";
    this.canvas.addEventListener("pointermove", (e) => this.point(e));
  }

  at(hz) { return Math.log(hz / this.low) / Math.log(this.high / this.low); }
  hz(part) { return this.low * (this.high / this.low) ** Math.min(Math.max(part, 0), 1); }

  point(event) {
    if (!this.levels) return;
    const part = event.offsetX / this.canvas.clientWidth;
    const column = Math.min(Math.floor(part * this.levels.length), this.levels.length - 1);
    this.readout.textContent = `${round(this.hz(part))} Hz: ${this.levels[column].toFixed(1)} dBFS`;
  }

  // What each route hears, from the mapping as written and as the engine has it.
  update(work, selected, locked) {
    this.routes = work.routes;
    this.selected = selected;
    const edges = (work.mapping.route ?? []).flatMap((route, index) => written(route, index));
    const shape = JSON.stringify([edges.map((e) => [e.path, e.at]), locked]);
    if (shape !== this.shape) {
      this.shape = shape;
      const focus = document.activeElement?.dataset?.edge;
      this.handles = edges.map((edge) => this.handle(edge, locked));
      this.edges.replaceChildren(...this.handles.map((handle) => handle.button));
      if (focus) this.edges.querySelector(`[data-edge="${CSS.escape(focus)}"]`)?.focus();
    }
    edges.forEach((edge, n) => { if (!this.handles[n].held) this.put(this.handles[n], edge); });
    this.place();
  }

  put(handle, edge) {
    handle.edge = edge;
    handle.hz = edge.hz;
    handle.button.setAttribute("aria-valuenow", edge.hz);
    handle.button.setAttribute("aria-valuetext", `${edge.hz} Hz`);
    handle.button.setAttribute("aria-label", `${this.routes[edge.route]?.name ?? "route"}, ${edge.name}`);
  }

  rows() {
    const count = Math.max(this.routes?.length ?? 1, 1), height = this.canvas.clientHeight;
    const each = Math.min(24, (height * 0.55) / count);
    return { each, top: height - 18 - each * count };
  }

  place() {
    const { each, top } = this.rows();
    for (const { button, edge, hz } of this.handles) {
      button.style.left = `${100 * this.at(hz)}%`;
      button.style.top = `${top + each * edge.route}px`;
      button.style.height = `${each}px`;
    }
  }

  handle(edge, locked) {
    const button = make("button", { className: "edge", disabled: locked, title: "Drag, or arrow keys; with Shift a third of an octave" });
    button.setAttribute("role", "slider");
    button.setAttribute("aria-valuemin", "10");
    button.setAttribute("aria-valuemax", "24000");
    button.dataset.edge = `${edge.path.join(".")}.${edge.at ?? ""}`;
    const handle = { button, edge, hz: edge.hz, held: false };
    const drag = new Drag(this.link);
    const go = (hz) => {
      handle.hz = round(hz);
      this.readout.textContent = `${this.routes[handle.edge.route].name}, ${handle.edge.name}: ${handle.hz} Hz`;
      this.place();
      drag.act({ do: "set", path: handle.edge.path, value: handle.edge.value(handle.hz) }, (answer) => this.say(answer));
    };
    const move = (event) => {
      const box = this.edges.getBoundingClientRect();
      go(this.hz((event.clientX - box.left) / box.width));
    };
    button.addEventListener("pointerdown", (event) => {
      button.setPointerCapture(event.pointerId);
      handle.held = true;
      drag.begin();
      this.chosen(handle.edge.route);
    });
    button.addEventListener("pointermove", (event) => { if (handle.held) move(event); });
    const end = () => { handle.held = false; };
    button.addEventListener("pointerup", end);
    button.addEventListener("lostpointercapture", end);
    button.addEventListener("focus", () => { drag.begin(); });
    button.addEventListener("keydown", (event) => {
      const way = { ArrowRight: 1, ArrowUp: 1, ArrowLeft: -1, ArrowDown: -1 }[event.key];
      if (!way) return;
      event.preventDefault();
      go(handle.hz * 2 ** (way * (event.shiftKey ? WIDE : STEP)));
    });
    return handle;
  }

  draw(look) {
    this.levels = look.spectrum;
    const it = fitted(this.canvas);
    if (!it) return;
    const { g, w, h } = it, { each, top } = this.rows(), base = h - 18;
    const count = look.spectrum.length;
    g.fillStyle = "#24524a";
    g.beginPath();
    g.moveTo(0, base);
    look.spectrum.forEach((level, n) => {
      const y = base - Math.max((level - FLOOR_DB) / (TOP_DB - FLOOR_DB), 0) * (base - 4);
      g.lineTo((n * w) / count, y);
      g.lineTo(((n + 1) * w) / count, y);
    });
    g.lineTo(w, base);
    g.fill();
    g.font = "11px system-ui";
    for (const hz of TICKS) {
      const x = this.at(hz) * w;
      g.fillStyle = RIM;
      g.fillRect(x, 0, 1, base);
      g.fillStyle = SOFT;
      const text = hz >= 1000 ? `${hz / 1000}k` : String(hz);
      if (w > 420 || [63, 250, 1000, 4000, 16000].includes(hz)) g.fillText(text, Math.min(x + 2, w - 24), h - 5);
    }
    let number = 0;
    (this.routes ?? []).forEach((route, index) => {
      const y = top + each * index, chosen = index === this.selected;
      for (const [place, [low, high]] of route.bands_hz.entries()) {
        const [x0, x1] = [this.at(low) * w, this.at(high) * w];
        const value = look.routes[2 * (number + Math.min(place, route.values - 1))] ?? 0;
        g.fillStyle = GROUND;
        g.fillRect(x0, y + 2, x1 - x0, each - 4);
        g.globalAlpha = 0.85;
        g.fillStyle = SEA;
        g.fillRect(x0, y + 2, (x1 - x0) * value, each - 4);
        g.globalAlpha = 1;
        g.strokeStyle = chosen ? AMBER : SOFT;
        g.lineWidth = chosen ? 2 : 1;
        g.strokeRect(x0 + 0.5, y + 2.5, x1 - x0 - 1, each - 5);
      }
      number += route.values;
      const first = route.bands_hz[0];
      if (first && each > 11) {
        g.fillStyle = INK;
        g.strokeStyle = GROUND;
        g.lineWidth = 3;
        const x = Math.max(this.at(first[0]) * w + 6, 2);
        g.strokeText(route.name, x, y + each / 2 + 4);
        g.fillText(route.name, x, y + each / 2 + 4);
      }
    });
  }
}

// Edges that stand in the file as numbers of their own.
function written(route, index) {
  const hears = route.hears ?? {};
  if (hears.band) {
    return ["low_hz", "high_hz"].map((key) => ({
      route: index, name: key === "low_hz" ? "lower edge" : "upper edge", hz: hears.band[key],
      path: ["route", index, "hears", "band", key], value: (hz) => hz,
    }));
  }
  return (hears.edges?.hz ?? []).map((hz, at, list) => ({
    route: index, name: `edge ${at + 1}`, hz, at, path: ["route", index, "hears", "edges", "hz"],
    value: (moved) => list.map((old, n) => (n === at ? moved : old)),
  }));
}

// Three digits: finer than an ear.
export function round(hz) { return Number(hz.toPrecision(3)); }
