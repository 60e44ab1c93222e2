// The band as it is heard: one WebSocket to the desk, one AudioWorklet, and where the music is while it sounds.
const RATE = 44100;
const AHEAD = 8820; // frames that lie ready, 200 ms
const TYPED_AHEAD = 26460; // while somebody types, 600 ms: a text is heard from the next bar anyway, and the page is busy
const MOST_AHEAD = 35280; // where sound was missing, 800 ms
const TYPED_MS = 3000;
const HEADER = 16; // bytes: generation u32, first frame u64, frames u32
const GESTURES = ["pointerdown", "keydown"];

// `onPlace` is told of { bar, beat, line } when it is heard and of null when nothing plays; `onState` of { playing }, { tempo },
// { failed }. Nothing sounds before `sounding` was called while somebody pressed something: a browser lets it not.
export async function connectSound({ url, onPlace = () => {}, onState = () => {} }) {
  const sound = new Sound(onPlace, onState);
  try {
    await sound.open(url);
  } catch (wrong) {
    sound.close();
    throw wrong;
  }
  return sound;
}

class Sound {
  constructor(onPlace, onState) {
    this.context = null; // until somebody wants to hear
    this.onPlace = onPlace;
    this.onState = onState;
    this.counts = { generation: 0, played: 0, delivered: 0, ahead: 0, gaps: 0, gapFrames: 0, longestGap: 0, longestWait: 0, received: 0, lost: 0 };
    this.generation = 0;
    this.places = []; // that are not heard yet
    this.ahead = AHEAD;
    this._typed = -Infinity;
    this._volume = 1;
  }

  // Be ready to be heard; call it while somebody presses something.
  sounding() {
    this._sounding ??= this.begin();
    return this._sounding;
  }

  async begin() {
    this.context = new AudioContext({ sampleRate: RATE, latencyHint: "interactive" });
    this.wake();
    await this.context.audioWorklet.addModule(new URL("player-worklet.js", import.meta.url));
    this.connect();
  }

  connect() {
    const { context } = this;
    this.node = new AudioWorkletNode(context, "band", { numberOfInputs: 0, outputChannelCount: [2] });
    this.node.port.onmessage = ({ data }) => this.reported(data);
    this.loudness = new GainNode(context, { gain: this._volume ** 2 });
    this.node.connect(this.loudness).connect(context.destination);
  }

  open(url) {
    this.socket = new WebSocket(url);
    this.socket.binaryType = "arraybuffer";
    this.socket.onmessage = ({ data }) => (typeof data === "string" ? this.told(JSON.parse(data)) : this.take(data));
    return new Promise((opened, failed) => {
      this.socket.onopen = opened;
      this.socket.onclose = () => {
        failed(new Error("the desk does not answer"));
        if (!this.closed) this.onState({ playing: false, ...(this.context && { failed: "The band has gone; it comes back with the desk." }) });
        this.onPlace(null);
        this.gone = true;
      };
    });
  }

  // A browser that let nothing sound yet does so when something is pressed.
  wake() {
    if (!this.context || this.context.state === "running" || this.closed) return;
    this.context.resume();
    for (const gesture of GESTURES) addEventListener(gesture, () => this.wake(), { once: true, capture: true });
  }

  send(told) {
    this.wake();
    if (this.socket?.readyState === WebSocket.OPEN) this.socket.send(JSON.stringify(told));
  }

  take(data) {
    const view = new DataView(data);
    const generation = view.getUint32(0, true);
    const count = view.getUint32(12, true);
    const first = Number(view.getBigUint64(4, true));
    this.counts.received += count;
    if (generation === this._came?.generation) this.counts.lost += Math.abs(first - this._came.next);
    this._came = { generation, next: first + count };
    if (generation < this.generation) return;
    const sound = new Float32Array(data, HEADER, 2 * count);
    this.node?.port.postMessage({ generation, sound }, [data]);
  }

  told({ generation, rest, at, ...state }) {
    if (generation !== undefined) {
      this.generation = generation;
      this.places = [];
      this.node?.port.postMessage({ generation });
    }
    if (rest !== undefined) this.node?.port.postMessage({ rest });
    if (at) this.places.push(at);
    if (state.playing === false) {
      this.places = [];
      this.onPlace(null);
    }
    if (Object.keys(state).length) this.onState(state);
  }

  // What the worklet has played: more is wanted, and places are heard.
  reported(counts) {
    if (counts.gaps > this.counts.gaps) this.ahead = Math.min(MOST_AHEAD, 2 * this.ahead);
    Object.assign(this.counts, counts);
    const { generation, played } = counts;
    if (generation !== this.generation) return;
    if (played !== this._wanted || generation !== this._of) {
      this._wanted = played;
      this._of = generation;
      if (this.socket.readyState === WebSocket.OPEN) this.socket.send(JSON.stringify({ do: "want", generation, frames: played + this.wanted }));
    }
    let heard = null;
    while (this.places.length && this.places[0].frame <= played) heard = this.places.shift();
    if (heard) this.onPlace(heard);
  }

  // How many frames are to lie ready.
  get wanted() {
    return performance.now() < this._typed + TYPED_MS ? Math.max(this.ahead, TYPED_AHEAD) : this.ahead;
  }

  // Somebody types.
  typed() {
    this._typed = performance.now();
  }

  // from 0 to 1
  set volume(share) {
    this._volume = share;
    this.loudness?.gain.setTargetAtTime(share * share, this.context.currentTime, 0.02);
  }

  close() {
    this.closed = true;
    this.socket?.close();
    this.context?.close();
  }

  load(chart) { this.send({ do: "load", ...chart }); }
  play(from) { this.send({ do: "play", ...from }); }
  stop() { this.send({ do: "stop" }); }
  loop(bars) { this.send({ do: "loop", bars }); }
  tempo(percent) { this.send({ do: "tempo", percent }); }
  key(to) { this.send({ do: "key", to }); }
  style(name) { this.send({ do: "style", name }); }
  seed(n) { this.send({ do: "seed", n }); }
  level(player, dB) { this.send({ do: "level", player, dB }); }
  hear(style, bars = 8) { this.send({ do: "hear", style, bars }); }
  chord(symbol) { this.send({ do: "chord", symbol }); }
}
