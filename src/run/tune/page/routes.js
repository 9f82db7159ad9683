// One lane for each route: what it heard and what it made of it, over the last seconds.
import { AMBER, fitted, INK, PANEL, RIM, SEA, SOFT } from "./colour.js";
import { make } from "./fields.js";

const SPAN_S = 8;

export class Lanes {
  constructor(home, link, chosen) {
    this.home = home;
    this.link = link;
    this.chosen = chosen;
    this.shape = "";
    this.lanes = [];
    this.marks = [];
  }

  update(work, selected, locked) {
    const names = work.routes.map((route) => route.name);
    const shape = JSON.stringify([names, locked]);
    if (shape !== this.shape) {
      this.shape = shape;
      const focus = document.activeElement?.id;
      const old = new Map(this.lanes.map((lane) => [lane.name, lane]));
      this.lanes = names.map((name, index) => this.lane(name, index, old.get(name), locked));
      this.home.replaceChildren(...this.lanes.map((lane) => lane.row));
      if (focus) document.getElementById(focus)?.focus();
    }
    this.counts = work.routes.map((route) => route.values);
    const solo = work.solo.length > 0;
    this.lanes.forEach((lane, index) => {
      const muted = work.muted.includes(lane.name), alone = work.solo.includes(lane.name);
      lane.pick.setAttribute("aria-pressed", String(index === selected));
      lane.mute.setAttribute("aria-pressed", String(muted));
      lane.solo.setAttribute("aria-pressed", String(alone));
      lane.row.classList.toggle("silent", muted || (solo && !alone));
    });
  }

  lane(name, index, old, locked) {
    const button = (what, word, title) => {
      const it = make("button", { className: "small", id: `${what}-${index}`, textContent: word, title, disabled: locked });
      it.addEventListener("click", () => {
        this.link.act({ do: what, route: name, on: it.getAttribute("aria-pressed") !== "true" });
      });
      it.setAttribute("aria-label", `${word}: ${name}`);
      return it;
    };
    const pick = make("button", { className: "pick", id: `pick-${index}`, textContent: name, title: `Show and change ${name}` });
    pick.addEventListener("click", () => this.chosen(index));
    const mute = button("mute", "mute", "Not heard; never saved"), solo = button("solo", "solo", "Heard alone; never saved");
    const canvas = make("canvas");
    canvas.setAttribute("role", "img");
    canvas.setAttribute("aria-label", `Input and output of ${name} over the last ${SPAN_S} s`);
    const row = make("div", { className: "lane" }, make("div", { className: "who" }, pick, mute, solo), canvas);
    return { name, row, pick, mute, solo, canvas, points: old?.points ?? [] };
  }

  // Takes a look in: of each route the strongest band.
  add(look) {
    let number = 0;
    this.lanes.forEach((lane, index) => {
      let [input, output] = [0, 0];
      for (let band = 0; band < (this.counts[index] ?? 0); band += 1, number += 1) {
        input = Math.max(input, look.routes[2 * number] ?? 0);
        output = Math.max(output, look.routes[2 * number + 1] ?? 0);
      }
      lane.now = [input, output];
      lane.points.push([look.heard, input, output]);
      while (lane.points.length && lane.points[0][0] < look.heard - SPAN_S - 0.5) lane.points.shift();
    });
  }

  draw(heard) {
    for (const lane of this.lanes) {
      const it = fitted(lane.canvas);
      if (!it) continue;
      const { g, w, h } = it;
      g.fillStyle = RIM;
      for (let s = Math.ceil(heard - SPAN_S); s <= heard; s += 1) g.fillRect(w - ((heard - s) / SPAN_S) * w, 0, 1, h);
      const line = (which, colour, width) => {
        g.strokeStyle = colour;
        g.lineWidth = width;
        g.beginPath();
        let last = -Infinity;
        for (const point of lane.points) {
          const x = w - ((heard - point[0]) / SPAN_S) * w, y = h - 3 - point[which] * (h - 6);
          if (point[0] - last > 0.3) g.moveTo(x, y); else g.lineTo(x, y);
          last = point[0];
        }
        g.stroke();
      };
      line(1, SEA, 1);
      line(2, AMBER, 2.2);
      if (lane.now) {
        g.font = "11px system-ui";
        g.fillStyle = INK;
        g.textAlign = "right";
        const text = `${lane.now[0].toFixed(2)} in, ${lane.now[1].toFixed(2)} out`;
        g.strokeStyle = PANEL;
        g.lineWidth = 4;
        g.strokeText(text, w - 4, 12);
        g.fillText(text, w - 4, 12);
        g.textAlign = "left";
      }
    }
  }
}

// Input to output of one route: the curve, and where it is now. Attack, hold and release take the
// dots off the line.
export function drawShape(canvas, route, lane) {
  const it = fitted(canvas);
  if (!it || !route) return;
  const { g, w, h } = it, left = 26, low = h - 20, wide = w - left - 6, high = low - 6;
  const x = (v) => left + v * wide, y = (v) => low - v * high;
  g.strokeStyle = RIM;
  g.strokeRect(left, low - high, wide, high);
  g.fillStyle = SOFT;
  g.font = "11px system-ui";
  const range = route.range?.fixed ?? route.range?.follow ?? { floor_db: -24, full_db: 0 };
  const [floor, full] = [range.floor_db ?? range.floor_dbfs, range.full_db ?? range.full_dbfs];
  const unit = route.range?.fixed ? "dBFS" : "dB";
  g.fillText(`${floor}`, left, h - 6);
  g.textAlign = "right";
  g.fillText(`${full} ${unit}`, w - 4, h - 6);
  g.fillText("1", left - 5, low - high + 9);
  g.fillText("0", left - 5, low);
  g.textAlign = "left";
  g.strokeStyle = SEA;
  g.lineWidth = 2;
  g.beginPath();
  for (let n = 0; n <= 60; n += 1) g.lineTo(x(n / 60), y(bend(route.curve, n / 60)));
  g.stroke();
  const recent = (lane?.points ?? []).slice(-40);
  recent.forEach(([, input, output], n) => {
    g.globalAlpha = (n + 1) / recent.length;
    g.fillStyle = AMBER;
    g.beginPath();
    g.arc(x(input), y(output), n === recent.length - 1 ? 5 : 2, 0, 2 * Math.PI);
    g.fill();
  });
  g.globalAlpha = 1;
}

function bend(curve, v) {
  if (curve === "soft") return v * v * (3 - 2 * v);
  return curve?.power ? v ** curve.power.exponent : v;
}
