// The song in this browser, in step with the engine: its position comes with every look.

// Further off than this, it starts anew at the right place; below, it is drawn back gently.
const JUMP_S = 0.12, NEAR_S = 0.004, PULL = 0.004;

export class Sound {
  constructor(say) { this.say = say; this.context = null; this.buffer = null; this.source = null; this.error = 0; this.on = false; }

  async start(seconds) {
    this.context ??= new AudioContext();
    await this.context.resume();
    if (!this.buffer) {
      this.say("loading the song");
      const answer = await fetch("/sound");
      if (!answer.ok) { this.say(await answer.text()); return false; }
      this.buffer = await this.context.decodeAudioData(await answer.arrayBuffer());
      this.say("");
    }
    this.seconds = seconds;
    this.on = true;
    return true;
  }

  stop() { this.on = false; this.source?.stop(); this.source = null; }

  // Where the browser's song is now, as heard.
  position() {
    const context = this.context;
    const lag = context.outputLatency || context.baseLatency || 0;
    const gone = (context.currentTime - lag - this.began.at) * this.source.playbackRate.value;
    return this.began.position + gone;
  }

  // The engine is at `heard` seconds of sound.
  follow(heard) {
    if (!this.on || !this.buffer) return;
    const length = this.buffer.duration;
    if (!this.source) { this.play(heard % length); return; }
    let error = (heard - this.position()) % length;
    if (error > length / 2) error -= length;
    if (error < -length / 2) error += length;
    this.error = this.error * 0.9 + error * 0.1;
    if (Math.abs(error) > JUMP_S) { this.play(heard % length); return; }
    const rate = Math.abs(this.error) < NEAR_S ? 1 : 1 + Math.sign(this.error) * PULL;
    if (rate !== this.source.playbackRate.value) {
      const position = this.position();
      this.source.playbackRate.value = rate;
      const lag = this.context.outputLatency || this.context.baseLatency || 0;
      this.began = { at: this.context.currentTime - lag, position };
    }
  }

  play(position) {
    this.source?.stop();
    const source = this.context.createBufferSource();
    source.buffer = this.buffer;
    source.loop = true;
    source.connect(this.context.destination);
    const lag = this.context.outputLatency || this.context.baseLatency || 0;
    source.start(0, (position + lag) % this.buffer.duration);
    this.began = { at: this.context.currentTime - lag, position };
    this.error = 0;
    this.source = source;
  }
}
