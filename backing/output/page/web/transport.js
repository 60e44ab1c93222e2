// Playing and stopping, and what comes between: a call, a battery saver, a page that is hidden, a browser that is mute.
import { Sound, openContext } from "./sound.js";
import { barAt } from "./time.js";

const PATIENCE = 3000; // ms in which a browser must say yes to sound
const STILL = 2500; // ms after which a clock that stands is told
const LOOKS = 4; // as often it has to be seen standing

const SILENT_BROWSER = "The browser gives no sound. Press Play again, or open this file in another browser.";
const TAKEN = "The sound was taken away, by a call perhaps. Press Play to go on.";
const STANDS = "The sound stands still. Check what it is played through, then press Play.";

// Settles as a promise does, or after so many ms with false.
export function within(promise, ms) {
  return Promise.race([promise.then(() => true, () => false), new Promise((resolve) => setTimeout(() => resolve(false), ms))]);
}

export class Transport {
  // `on`: wish() for the sound, levels() to be applied, changed() of what is shown,
  // started(), stopped(place or null), message(text).
  constructor(data, state, on) {
    Object.assign(this, { data, state, on, sound: null, studio: null });
    this._attempt = 0;
    this._awake = null;
    document.addEventListener("visibilitychange", () => {
      if (document.visibilityState === "visible" && state.playing) this._keepAwake();
    });
    // Hidden pages get no frames; the plan must go on.
    setInterval(() => this.tick(), 500);
  }

  // The workers are there: whoever pressed Play before hears it now.
  loaded(studio) {
    this.studio = studio;
    if (this.state.waiting) this.play();
  }

  toggle() {
    if (this.state.playing || this.state.waiting) this.stop();
    else this.play();
  }

  // A browser gives sound only to who has pressed something, so it is asked for then.
  wake() {
    if (this.sound?.context.state === "closed") this.sound = null;
    if (this.sound) return this.sound;
    if (navigator.audioSession) navigator.audioSession.type = "playback";
    const context = openContext();
    const sound = new Sound(this.data, this.studio, context);
    sound.onend = () => this.stop(this.data.duration);
    context.addEventListener("statechange", () => {
      if (sound === this.sound && this.state.playing && context.state !== "running") this._taken(TAKEN);
    });
    this.sound = sound;
    this.on.levels();
    return sound;
  }

  async play() {
    const mine = ++this._attempt;
    this.state.waiting = true;
    this.on.message("");
    this.on.changed();
    if (!this.studio) return; // `loaded` goes on
    let context = null;
    try {
      context = this.wake().context;
    } catch (refused) {
      this.sound = null; // a machine without any sound
    }
    if (context && context.state !== "running") await within(context.resume(), PATIENCE);
    if (mine !== this._attempt) return;
    this.state.waiting = false;
    if (context?.state === "running") this._start();
    else this.on.message(SILENT_BROWSER);
    this.on.changed();
  }

  _start() {
    this.sound.play(this.on.wish());
    this.state.playing = true;
    this._seen = null;
    this.on.started();
    this._keepAwake();
  }

  // Another place or loop while it plays.
  again(wish) {
    this.sound.play(wish);
  }

  // `ended` is the place where the music stopped by itself.
  stop(ended = null) {
    this._attempt++;
    const { state, sound } = this;
    const played = state.playing;
    state.playing = state.waiting = false;
    const place = ended ?? (played ? (sound.now()?.place ?? null) : null);
    if (played) sound.stop();
    this._rest();
    if (played) this.on.stopped(place);
    this.on.changed();
  }

  _taken(text) {
    this.stop();
    this.on.message(text);
  }

  tick() {
    if (!this.state.playing) return;
    if (this.sound.context.state === "closed") return this._taken(TAKEN);
    this.sound.tick();
    if (this.state.playing) this._watch();
  }

  // A device that is gone leaves a context that runs and a clock that stands.
  _watch() {
    const at = this.sound.context.currentTime;
    const now = performance.now();
    if (!this._seen || this._seen.at !== at) this._seen = { at, since: now, looks: 0 };
    else if (++this._seen.looks > LOOKS && now - this._seen.since > STILL) this._taken(STANDS);
  }

  async _keepAwake() {
    try {
      const lock = await navigator.wakeLock?.request("screen");
      if (!this.state.playing) lock?.release().catch(() => {});
      else {
        this._rest();
        this._awake = lock ?? null;
      }
    } catch (refused) {
      this._awake = null; // a battery saver may say no; the page works all the same
    }
  }

  _rest() {
    this._awake?.release().catch(() => {});
    this._awake = null;
  }

  // The bar that is heard, or the one to begin from.
  here() {
    const now = this.state.playing ? this.sound.now() : null;
    return now ? barAt(this.data.bars, now.place) : this.state.bar;
  }
}
