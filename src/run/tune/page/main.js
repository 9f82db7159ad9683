// Puts the page together and keeps it in step with the program.
import { Drag, Link } from "./link.js";
import { Fields, make } from "./fields.js";
import { Gauges } from "./gauges.js";
import { drawShape, Lanes } from "./routes.js";
import { Sound } from "./sound.js";
import { Spectrum } from "./spectrum.js";
import { KEY, Tank } from "./tank.js";

const at = (id) => document.getElementById(id);
const page = { about: null, standing: null, look: null, me: null, selected: 0, board: null, fresh: false };
// For whoever measures: looks taken and pictures drawn.
window.coilscore = { looks: 0, frames: 0, page };

const link = new Link({
  message(message) {
    if (message.kind === "about") began(message);
    if (message.kind === "you") page.me = message.page;
    if (message.kind === "standing") { page.standing = message; stands(); }
    if (message.kind === "status") page.board = message.board;
    if (message.kind === "notice") notice(message.text);
  },
  look(look) {
    window.coilscore.looks += 1;
    page.look = look;
    page.fresh = true;
    if (page.lanes) page.lanes.add(look);
    sound.follow(look.heard);
  },
  state(open) {
    document.body.classList.toggle("away", !open);
    if (!open && page.about) notice("the program is not there; looking for it");
  },
});
const sound = new Sound((text) => { if (text) notice(text); });

function began(about) {
  if (page.about) return location.reload();
  page.about = about;
  at("on").textContent = `on ${about.display}, ${about.coils.length} coils`;
  page.tank = new Tank(at("tank"), about, chooseCoil);
  page.spectrum = new Spectrum(at("spectrum"), about, link, edgeSaid, choose);
  page.lanes = new Lanes(at("lanes"), link, choose);
  page.gauges = new Gauges(at("gauge-list"), about);
  page.route = new Fields(at("route"), link, about.groups);
  page.mapping = new Fields(at("mapping"), link, about.groups);
  at("tank-key").replaceChildren(...KEY.map(([mark, what]) => make("span", {}, make("b", { textContent: mark }), ` ${what}`)));
  at("sound").disabled = !about.song;
  requestAnimationFrame(draw);
}

function holds() { return page.standing?.holder === page.me; }

function stands() {
  if (!page.about) return;
  const { work, hands, holder, pages } = page.standing, locked = !holds();
  page.selected = Math.min(page.selected, work.routes.length - 1);
  at("name").textContent = work.mapping.name;
  document.title = `${work.unsaved ? "* " : ""}${work.mapping.name} - coilscore tune`;
  at("undo").disabled = locked || !work.can_undo;
  at("redo").disabled = locked || !work.can_redo;
  at("version").textContent = `Version ${work.version + 1}${work.versions_differ ? "" : " (same)"}`;
  at("copy").textContent = `Copy to ${2 - work.version}`;
  at("copy").disabled = locked || !work.versions_differ;
  at("version").disabled = locked;
  at("save").disabled = locked;
  at("save").classList.toggle("unsaved", work.unsaved);
  at("reload").hidden = !work.outside;
  at("off").setAttribute("aria-pressed", String(hands.all_off));
  at("hold").setAttribute("aria-pressed", String(hands.hold));
  at("hold").disabled = locked;
  at("level").disabled = locked;
  if (document.activeElement !== at("level")) at("level").value = hands.level_percent;
  at("who").hidden = !locked && pages < 2;
  at("who").firstElementChild.textContent = locked
    ? (holder === null ? "No page is editing." : `Page ${holder} is editing; this page (${page.me}) looks on.`)
    : `This page is editing; ${pages - 1} more look${pages === 2 ? "s" : ""} on.`;
  at("take").hidden = !locked;
  at("add").disabled = locked || work.routes.length >= page.about.form.most_routes;
  page.lanes.update(work, page.selected, locked);
  page.spectrum.update(work, page.selected, locked);
  page.mapping.update(page.about.form.mapping, [], work.mapping, locked);
  const written = work.mapping.route?.[page.selected];
  page.route.update(page.about.form.route, ["route", page.selected], written, locked);
  at("editor-title").textContent = `Route ${page.selected + 1}: ${written?.name ?? ""}`;
  acts(work, locked);
  page.tank.dimmed = null;
  at("warnings").replaceChildren(...work.warnings.map((text) => make("li", { textContent: text })));
  page.trims = work.trims;
  trimShown();
}

function acts(work, locked) {
  const route = page.selected, count = work.routes.length;
  const button = (id, text, able, act, then) => {
    const it = at(id) ?? at("route-acts").appendChild(make("button", { id }));
    it.textContent = text;
    it.disabled = locked || !able;
    it.onclick = async () => { if (told(await link.act(act)) && then !== undefined) choose(then); };
  };
  button("copy-route", "Copy", count < page.about.form.most_routes, { do: "copy_route", route }, route + 1);
  button("remove-route", "Remove", count > 1, { do: "remove_route", route }, Math.max(route - 1, 0));
  button("up-route", "Up", route > 0, { do: "move_route", route, to: route - 1 }, route - 1);
  button("down-route", "Down", route + 1 < count, { do: "move_route", route, to: route + 1 }, route + 1);
}

function choose(index) { page.selected = index; if (page.standing) stands(); }

function chooseCoil() {
  const label = at("trim-label");
  label.hidden = false;
  at("trim-say").hidden = true;
  trimShown(true);
}

function trimShown(always) {
  const input = at("trim"), coil = page.tank?.coil;
  if (coil === null || coil === undefined) return;
  input.disabled = !holds();
  if (always || document.activeElement !== input) input.value = page.trims[coil];
}

function notice(text) {
  // Said once, until something else is said.
  if (at("notices").lastElementChild?.dataset.text === text) return;
  const line = make("p", {}, make("span", { textContent: text }));
  line.dataset.text = text;
  const close = make("button", { textContent: "Close" });
  close.onclick = () => line.remove();
  line.append(close);
  at("notices").append(line);
  while (at("notices").children.length > 4) at("notices").firstElementChild.remove();
  setTimeout(() => line.remove(), 12000);
}

function told(answer) { if (!answer.ok) notice(answer.sentence); return answer.ok; }

function edgeSaid(answer) {
  if (!answer.ok) { at("hz").textContent = answer.sentence.split("\n")[0]; at("hz").dataset.refused = "yes"; } else { delete at("hz").dataset.refused; }
}

function hands(change) { return link.say({ hands: { ...page.standing.hands, ...change } }).then(told); }

async function hear() {
  if (!page.about.song) return;
  if (sound.on) sound.stop(); else await sound.start(page.about.song.seconds);
  at("sound").textContent = sound.on ? "Sound on" : "Sound off";
  at("sound").setAttribute("aria-pressed", String(sound.on));
}

const simple = { undo: "undo", redo: "redo", save: "save", version: "other_version", copy: "copy_version", reload: "reload", add: "add_route" };
for (const [id, act] of Object.entries(simple)) {
  at(id).onclick = async () => { if (told(await link.act({ do: act })) && id === "add") choose(page.standing.work.routes.length); };
}
at("take").onclick = () => link.say({ take: true });
at("off").onclick = () => hands({ all_off: !page.standing.hands.all_off });
at("hold").onclick = () => hands({ hold: !page.standing.hands.hold });
at("level").onchange = () => hands({ level_percent: Math.round(Math.min(Math.max(at("level").valueAsNumber || 0, 0), 100)) });
at("sound").onclick = hear;
const trim = new Drag(link);
at("trim").onfocus = () => trim.begin();
at("trim").oninput = () => {
  const value = at("trim").valueAsNumber;
  if (Number.isNaN(value)) return;
  trim.act({ do: "trim", coil: page.tank.coil, value }, (answer) => {
    at("trim-say").hidden = answer.ok;
    at("trim-say").textContent = answer.ok ? "" : answer.sentence;
  });
};

document.addEventListener("keydown", (event) => {
  if (!page.standing) return;
  const key = event.key.toLowerCase(), typing = event.target.matches("input, select, textarea");
  if (event.ctrlKey || event.metaKey) {
    const act = key === "s" ? "save" : key === "y" || (key === "z" && event.shiftKey) ? "redo" : key === "z" ? "undo" : null;
    if (!act) return;
    event.preventDefault();
    if (typing && act !== "save") event.target.blur();
    at(act).click();
    return;
  }
  if (typing || event.altKey) return;
  if (key === "o") hands({ all_off: true });
  else if (key === "r") hands({ all_off: false });
  else if (key === "h") at("hold").click();
  else if (key === "c") at("version").click();
  else if (key === "s") hear();
  else if (/^[1-9]$/.test(key) && Number(key) <= page.standing.work.routes.length) choose(Number(key) - 1);
});

function draw() {
  requestAnimationFrame(draw);
  window.coilscore.frames += 1;
  const { look, standing } = page;
  if (!look || !standing || !page.fresh) return;
  page.fresh = false;
  page.tank.draw(look);
  page.spectrum.draw(look);
  page.lanes.draw(look.heard);
  drawShape(at("shape"), standing.work.mapping.route?.[page.selected], page.lanes.lanes[page.selected]);
  page.gauges.update(look, standing.work, page.board);
  at("coil").textContent = page.tank.words(look, page.trims) ?? at("coil").textContent;
  const song = page.about.song;
  const where = song ? `${song.name}, ${(look.heard % song.seconds).toFixed(1)} of ${song.seconds.toFixed(1)} s` : `input, ${look.level.toFixed(0)} dBFS`;
  const off = sound.on ? `, sound ${(sound.error * 1000).toFixed(0)} ms off` : "";
  at("at").textContent = where + off;
}
new ResizeObserver(() => { page.fresh = true; page.spectrum?.routes && page.spectrum.place(); }).observe(document.body);
