// The band as the desk asks for it: one connection, opened when it is first heard, and what is asked of it until then.
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
    this._resting = setTimeout(() => this._sound && this.playing && this._load(), REST_MS);
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

  async _open() {
    if (this._sound?.gone) Object.assign(this, { _sound: null, _loaded: null });
    if (!this._sound) {
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
    return this._sound;
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
