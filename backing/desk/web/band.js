// The band as the desk asks for it: one connection, opened with the first chart so that the band is there when it is wanted,
// and what is asked of it until then.
const REST_MS = 500;

export class Band {
  // `on`: place({ bar, beat, line }), state({ playing, failed }).
  constructor(on) {
    this.on = on;
    this.there = false; // whether this desk has a band at all
    this.playing = false;
    this._sound = null;
    this._chart = null;
    this._loaded = null;
    this._volume = 1;
    this._asked = new Map(); // what holds until it is asked otherwise: tempo, key, seed, loop, levels
  }

  // The chart as it is typed now; the band takes it up when the hands rest, for it plays on meanwhile.
  chart(chart) {
    this._chart = chart;
    clearTimeout(this._resting);
    if (this.there && !this._connected) this._ready();
    else this._resting = setTimeout(() => this.playing && this._load(), REST_MS);
  }

  // Somebody types; what is looked at, drawn and planned meanwhile may keep the band waiting.
  typed() {
    this._sound?.typed();
  }

  // Have the band come before anybody calls it; where it cannot, whoever calls it is told.
  async _ready() {
    await this._connect().then(() => this._load(), () => {});
  }

  _load() {
    if (this._chart === this._loaded) return;
    this._loaded = this._chart;
    this._sound.send({ do: "load", ...this._chart });
  }

  // From 0 to 1, for everything that is heard on this page.
  set volume(share) {
    this._volume = share;
    if (this._sound) this._sound.volume = share;
  }

  // Call it while somebody presses something.
  async _open() {
    if (this._sound?.gone) {
      this._sound.close();
      Object.assign(this, { _sound: null, _loaded: null, _connected: null });
    }
    if (!this._sound) await this._connect();
    await this._sound.sounding();
  }

  _connect() {
    this._connected ??= this._join().catch((wrong) => {
      this._connected = null;
      throw wrong;
    });
    return this._connected;
  }

  async _join() {
    const { connectSound } = await import("./player.js");
    this._sound = await connectSound({
      url: `ws://${location.host}/sound`,
      onPlace: (place) => this.on.place(place),
      onState: (state) => {
        if ("playing" in state) this.playing = state.playing;
        this.on.state(state);
      },
    });
    this._sound.volume = this._volume;
    for (const said of this._asked.values()) this._sound.send(said);
  }

  // What holds from now on, such as `tempo` with its per cent.
  hold(name, told, key = name) {
    const said = { do: name, ...told };
    this._asked.set(key, said);
    this._sound?.send(said);
  }

  async play(offset) {
    await this._open();
    this._load();
    this._sound.send({ do: "play", offset });
  }

  stop() {
    this._sound?.send({ do: "stop" });
  }

  // Eight bars of the chart in another style.
  async hear(style) {
    await this._open();
    this._load();
    this._sound.send({ do: "hear", style, bars: 8 });
  }

  // Another text, from its beginning.
  async hearText(text, name) {
    await this._open();
    this._loaded = null;
    this._sound.send({ do: "load", name, text, revision: -1 });
    this._sound.send({ do: "play", offset: 0 });
  }

  async strike(symbol) {
    await this._open();
    this._sound.send({ do: "chord", symbol });
  }
}
