// Headroom, supply and delay, in numbers and as bars.
import { make } from "./fields.js";

export class Gauges {
  constructor(home, about) {
    this.about = about;
    const gauge = (name) => {
      const value = make("span"), fill = make("i");
      const row = make("div", { className: "gauge" }, make("p", {}, make("span", { textContent: name }), value), make("div", { className: "bar" }, fill));
      home.append(row);
      return { row, value, fill };
    };
    this.coil = gauge("warmest winding");
    this.backing = gauge("warmest backing");
    this.rails = about.rails.map((rail) => gauge(`supply ${rail.name}`));
    this.delay = gauge("delay");
    this.engine = gauge("engine");
  }

  set(it, part, text) {
    it.value.textContent = text;
    it.fill.style.transform = `scaleX(${Math.min(Math.max(part, 0), 1).toFixed(3)})`;
    it.row.classList.toggle("near", part > 0.9);
  }

  update(look, work, board) {
    const { about } = this, coils = about.coils.length;
    const hottest = (from) => {
      let best = { part: -1 };
      for (let i = 0; i < coils; i += 1) {
        const [now, bound] = [look.node[from + i], about.bound_c[from + i]];
        const part = (now - about.room_c) / (bound - about.room_c);
        if (part > best.part) best = { part, now, bound, label: about.coils[i].label };
      }
      return best;
    };
    [[this.coil, 0], [this.backing, coils]].forEach(([it, from]) => {
      const { part, now, bound, label } = hottest(from);
      this.set(it, part, `${label}: ${now.toFixed(1)} C, ${(bound - now).toFixed(1)} K left`);
    });
    this.rails.forEach((it, n) => {
      const { limit_a: limit } = about.rails[n];
      this.set(it, look.amps[n] / limit, `${look.amps[n].toFixed(2)} of ${limit} A`);
    });
    const hears = Math.max(0, ...(work?.routes ?? []).map((route) => route.delay_s)) * 1000;
    const frame = 1000 / about.frames_per_s, fluid = about.fluid_lag_s * 1000;
    this.set(this.delay, (hears + frame + fluid) / 250,
      `hearing ${hears.toFixed(0)} + frame ${frame.toFixed(0)} + fluid ${fluid.toFixed(0)} ms`);
    const period = 1e6 / about.frames_per_s;
    const cut = board?.abandoned ? `, ${board.abandoned} begun and not ended` : "";
    const sent = board ? `; board ${board.state}, ${board.sent} sent, ${board.skipped} skipped${cut}` : "; no board";
    this.set(this.engine, look.worked / period, `${look.worked.toFixed(0)} us a frame, ${look.late} late${sent}`);
  }
}
