// Fields for what a mapping holds, made from the program's own description of its keys. What may not
// stand there the program says, in the words of `check`, under the field.
import { Drag } from "./link.js";

const make = (tag, props = {}, ...inside) => {
  const element = Object.assign(document.createElement(tag), props);
  element.append(...inside);
  return element;
};
const LEFT_OUT = "\u0000";

export class Fields {
  // home: where they go; link: whom to ask; groups: names of groups of coils.
  constructor(home, link, groups) {
    this.home = home;
    this.link = link;
    this.groups = groups;
    this.shape = "";
    this.show = [];
  }

  // fields: their description; path: where they stand; written: what stands there.
  update(fields, path, written, locked) {
    const shape = JSON.stringify([path, structure(fields, written), locked]);
    if (shape !== this.shape) {
      const focus = document.activeElement?.dataset?.path;
      this.shape = shape;
      this.show = [];
      this.locked = locked;
      this.building = written;
      this.depth = path.length;
      this.home.replaceChildren(this.list(fields, path, () => this.written));
      if (focus) this.home.querySelector(`[data-path="${CSS.escape(focus)}"]`)?.focus();
    }
    this.written = written;
    for (const show of this.show) show();
  }

  list(fields, path, get) {
    return make("div", { className: "fields" }, ...fields.map((field) => this.field(field, [...path, field.key], () => get()?.[field.key])));
  }

  field(field, path, get) {
    const say = make("p", { className: "say", hidden: true, id: `say-${path.join("-")}` });
    say.setAttribute("role", "alert");
    const told = (input) => (answer) => {
      say.hidden = answer.ok;
      say.textContent = answer.ok ? "" : answer.sentence;
      input.setAttribute("aria-invalid", String(!answer.ok));
    };
    const box = make("div", { className: "field" });
    const kinds = { menu: "menu", table: "table", word: "choice", flag: "choice", group: "choice" };
    const input = this[kinds[field.holds] ?? "typed"](field, path, get, told, box);
    input.dataset.path = path.join(".");
    input.disabled = this.locked;
    input.setAttribute("aria-describedby", say.id);
    input.title = hint(field);
    const unit = make("span", { className: "unit", textContent: field.unit ?? "" });
    const label = make("label", {}, make("span", { textContent: field.key }), make("span", { className: "hand" }, input, unit));
    box.prepend(label, say);
    return box;
  }

  set(path, value) {
    return this.link.act(value === LEFT_OUT ? { do: "set", path } : { do: "set", path, value });
  }

  typed(field, path, get, told, box) {
    const many = field.holds === "numbers" || field.holds === "point", number = field.holds === "number";
    const input = make("input", { type: number ? "number" : "text", autocomplete: "off" });
    if (number) Object.assign(input, { step: field.whole ? "1" : "any", inputMode: "decimal" });
    input.placeholder = field.default === null ? "" : (field.default ?? "").replaceAll('"', "");
    const drag = new Drag(this.link);
    input.addEventListener("focus", () => drag.begin());
    const read = () => {
      if (input.value.trim() === "" && !(number && input.validity.badInput)) return LEFT_OUT;
      if (number) return input.valueAsNumber;
      return many ? input.value.split(/[\s,;]+/).filter(Boolean).map(Number) : input.value;
    };
    const send = () => {
      const value = read();
      if ([value].flat().some(Number.isNaN)) return told(input)({ ok: false, sentence: "write a number, with a point for fractions" });
      const act = value === LEFT_OUT ? { do: "set", path } : { do: "set", path, value };
      drag.act(act, told(input));
    };
    input.addEventListener(number ? "input" : "change", send);
    this.show.push(() => {
      const value = get();
      box.classList.toggle("left-out", value === undefined);
      if (document.activeElement === input && input.dataset.same === JSON.stringify(value)) return;
      const wrong = input.getAttribute("aria-invalid") === "true";
      if (document.activeElement === input && (wrong || drag.busy)) return;
      if (wrong) told(input)({ ok: true });
      input.dataset.same = JSON.stringify(value);
      const text = value === undefined ? "" : many ? value.join(", ") : String(value);
      if (input.value !== text && !(number && input.valueAsNumber === value)) input.value = text;
    });
    return input;
  }

  choice(field, path, get, told, box) {
    const words = field.holds === "flag" ? ["true", "false"] : field.holds === "group" ? ["all", ...this.groups] : field.words;
    const select = this.select(words, field.default);
    select.addEventListener("change", async () => {
      const value = select.value === LEFT_OUT || field.holds !== "flag" ? select.value : select.value === "true";
      told(select)(await this.set(path, value));
    });
    this.show.push(() => {
      const value = get();
      box.classList.toggle("left-out", value === undefined);
      pick(select, value === undefined ? LEFT_OUT : String(value));
    });
    return select;
  }

  select(words, without) {
    const select = make("select", {}, ...words.map((word) => make("option", { value: word, textContent: word })));
    if (without !== undefined && without !== null) {
      select.prepend(make("option", { value: LEFT_OUT, textContent: `(left out) ${short(without)}` }));
    }
    return select;
  }

  menu(field, path, get, told, box) {
    const select = this.select([...field.words, ...field.kinds.map((kind) => kind.word)], field.default);
    select.addEventListener("change", async () => {
      const kind = field.kinds.find((it) => it.word === select.value);
      const answer = kind ? await this.link.act({ do: "kind", path, example: kind.example }) : await this.set(path, select.value);
      told(select)(answer);
    });
    const chosen = kindOf(field, this.writtenAt(path));
    if (chosen) box.append(this.list(keysOf(chosen, this.writtenAt(path)[chosen.word]), [...path, chosen.word], () => get()?.[chosen.word]));
    box.classList.add("group");
    this.show.push(() => {
      const value = get();
      box.classList.toggle("left-out", value === undefined);
      const word = typeof value === "object" ? Object.keys(value)[0] : value;
      pick(select, word === undefined ? LEFT_OUT : String(word));
    });
    return select;
  }

  table(field, path, get, told, box) {
    const check = make("input", { type: "checkbox" });
    check.addEventListener("change", async () => {
      const act = check.checked ? { do: "kind", path, example: field.example } : { do: "set", path };
      told(check)(await this.link.act(act));
    });
    if (this.writtenAt(path) !== undefined) box.append(this.list(field.fields, path, get));
    box.classList.add("group");
    this.show.push(() => { check.checked = get() !== undefined; });
    return check;
  }

  // While it is being built, `written` is what `update` was called with.
  writtenAt(path) { return path.slice(this.depth).reduce((at, key) => at?.[key], this.building); }
}

// Which kinds are chosen: when that changes, other fields are there.
function structure(fields, written) {
  return fields.flatMap((field) => {
    const value = written?.[field.key];
    if (field.holds === "table") return [value === undefined ? 0 : [1, structure(field.fields, value)]];
    if (field.holds !== "menu") return [];
    const kind = kindOf(field, value);
    return [kind ? [kind.word, structure(keysOf(kind, value[kind.word]), value[kind.word])] : 0];
  });
}

function kindOf(field, value) {
  if (typeof value !== "object" || value === null) return undefined;
  return field.kinds.find((kind) => kind.word in value);
}

// A kind whose keys nobody described shows those that are written.
function keysOf(kind, written) {
  if (kind.fields.length > 0) return kind.fields;
  const holds = (value) => ({ number: "number", boolean: "flag", string: "text" }[typeof value] ?? "numbers");
  return Object.entries(written ?? {}).map(([key, value]) => ({ key, default: null, holds: holds(value) }));
}

function pick(select, value) {
  if (![...select.options].some((option) => option.value === value)) select.append(make("option", { value, textContent: value === LEFT_OUT ? "(left out)" : value }));
  select.value = value;
}

function short(toml) { return toml.replaceAll('"', "").replace(/^\{ (\w+) = .*$/, "$1"); }

function hint(field) {
  const range = field.low === undefined ? "" : `${field.low} to ${field.high}${field.unit ? ` ${field.unit}` : ""}: ${field.because}`;
  const without = field.default === null || field.default === undefined ? "" : `left out: ${short(field.default)}`;
  return [range, without].filter(Boolean).join("; ");
}

export { make };
