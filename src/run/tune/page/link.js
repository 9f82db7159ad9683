// The conversation with the program: wishes out, answers and looks in.

const LOOK = 1;

// What a binary message holds; its layout stands in glance.rs.
export function readLook(buffer) {
  const view = new DataView(buffer);
  if (view.byteLength < 44 || view.getUint8(0) !== LOOK) return null;
  const short = (at) => view.getUint16(at, true);
  const [coils, routes, columns, rails, nodes] = [2, 4, 6, 8, 10].map(short);
  let at = 44;
  const list = (count) => {
    const part = new Float32Array(buffer, at, count);
    at += 4 * count;
    return part;
  };
  return {
    quiet: (view.getUint8(1) & 1) === 1,
    edit: view.getUint32(12, true),
    frame: view.getUint32(16, true),
    heard: view.getFloat64(20, true),
    late: view.getUint32(28, true),
    missed: view.getUint32(32, true),
    worked: view.getFloat32(36, true),
    level: view.getFloat32(40, true),
    duty: list(coils), wish: list(coils), fluid: list(coils),
    heat: list(coils), rail: list(coils), driver: list(coils),
    node: list(nodes), amps: list(rails), routes: list(routes), spectrum: list(columns),
  };
}

export class Link {
  // on: { message(json), look(look), state(open) }
  constructor(on) {
    this.on = on;
    this.next = 1;
    this.waiting = new Map();
    this.open();
  }

  open() {
    const socket = new WebSocket(`ws://${location.host}/talk`);
    socket.binaryType = "arraybuffer";
    socket.onopen = () => this.on.state(true);
    socket.onclose = () => {
      this.on.state(false);
      for (const done of this.waiting.values()) done({ ok: false, sentence: "the program is not there" });
      this.waiting.clear();
      setTimeout(() => this.open(), 1000);
    };
    socket.onmessage = (event) => {
      if (typeof event.data !== "string") {
        const look = readLook(event.data);
        if (look) this.on.look(look);
        return;
      }
      const message = JSON.parse(event.data);
      if (message.kind === "answer") {
        this.waiting.get(message.id)?.(message);
        this.waiting.delete(message.id);
      } else {
        this.on.message(message);
      }
    };
    this.socket = socket;
  }

  // Resolves to { ok, sentence }.
  say(what) {
    if (this.socket.readyState !== WebSocket.OPEN) return Promise.resolve({ ok: false, sentence: "the program is not there" });
    const id = this.next++;
    this.socket.send(JSON.stringify({ id, ...what }));
    return new Promise((done) => this.waiting.set(id, done));
  }

  act(act) { return this.say({ act }); }
}

// While a hand moves something: one wish under way at a time, then the newest. All of it is one step.
export class Drag {
  constructor(link) { this.link = link; this.grip = 0; this.busy = false; this.next = null; this.heard = null; }
  begin() { this.grip = Math.floor(Math.random() * 2 ** 48); }
  async act(act, heard) {
    this.next = { ...act, grip: this.grip };
    this.heard = heard;
    if (this.busy) return;
    this.busy = true;
    while (this.next) {
      const now = this.next;
      this.next = null;
      const answer = await this.link.act(now);
      this.heard?.(answer);
    }
    this.busy = false;
  }
}
