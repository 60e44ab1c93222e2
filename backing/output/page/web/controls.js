// The controls: one sentence whose words are buttons, each opening what it changes.
import { element, pieces } from "./type.js";
import { FASTEST, LOUDEST, QUIETEST, SLOWEST, countsOffered } from "./settings.js";
import { CLICKS, bandWords, barName, bpmWords, countShort, countWords, keyShort, keyWords, rangeWords, sectionSaid, shiftSaid, shownWords, stepWords } from "./speak.js";

const STEPS = [0, 1, 2, 3, 5, 10];
const TOPS = [80, 90, 100, 110, 120, 130];
const PRESETS = [50, 60, 70, 80, 90, 100];

const plain = (text, action, properties = {}) => element("button", { type: "button", class: "plain", onclick: action, ...properties }, text);

export class Controls {
  constructor(data, state, places, on) {
    Object.assign(this, { data, state, places, on });
    this._open = "";
    this._drawers = {};
    this._buttons = {};
    this._units = [];
    this._refresh = []; // what to do when the state has changed
    this.play = element("button", { type: "button", id: "play", class: "word play", onclick: on.toggle }, "Play");
    places.sentence.append(this.play);
    this._sentence();
    for (const build of ["_range", "_tempo", "_key", "_band", "_click", "_count", "_step", "_shown"]) this[build]();
    document.addEventListener("keydown", (event) => {
      if (event.key !== "Escape" || !this._open) return;
      const back = this._buttons[this._open];
      this._toggle(this._open);
      back.focus();
    });
    this.update();
  }

  update() {
    for (const act of this._refresh) act();
  }

  // A word of the sentence: what stands before it, what it is about, what it says, whether a comma may follow.
  _word(name, lead, about, text, comma = true) {
    const said = element("span");
    const button = element(
      "button",
      { type: "button", class: "word", id: `word-${name}`, "aria-expanded": "false", "aria-controls": `drawer-${name}`, onclick: () => this._toggle(name) },
      said,
      element("span", { class: "unseen" }, `: ${about}`),
    );
    const stop = element("span");
    const unit = element("span", { class: "unit" }, lead, button, stop);
    this.places.sentence.append(" ", unit);
    this._buttons[name] = button;
    this._units.push({ unit, stop, comma });
    this._refresh.push(() => said.replaceChildren(...pieces(text())));
    return unit;
  }

  _sentence() {
    const { data, state } = this;
    this._word("range", "", "which bars", () => rangeWords(data, state), false);
    this._word("tempo", "at ", "tempo", () => `${state.pace || state.percent} % (${bpmWords(data, state.pace || state.percent)})`, false);
    this._word("key", "in ", "key", () => keyWords(data, state.shift));
    this._word("band", "", "who plays, and how loud", () => {
      const words = bandWords(data, state);
      return words.startsWith("without") ? words : `with ${words}`;
    });
    this._word("click", "", "click", () => CLICKS.find(([name]) => name === state.manner)[1]);
    this._word("count", "", "count-in", () => countWords(state.countIn, state.firstOnly && state.loop));
    const step = this._word("step", "", "faster after each pass", () => stepWords(state));
    this._word("shown", "showing ", "what is shown", () => shownWords(state.shown, { melody: data.staff, grips: data.grips, tab: data.tab }));
    this._refresh.push(() => {
      step.hidden = !state.loop;
      const seen = this._units.filter(({ unit }) => !unit.hidden);
      seen.forEach(({ stop, comma }, i) => (stop.textContent = i === seen.length - 1 ? "." : comma ? "," : ""));
      this.play.textContent = state.playing || state.waiting ? "Stop" : "Play";
    });
  }

  _panel(name, title, ...children) {
    const node = element("div", { id: `drawer-${name}`, role: "group", "aria-label": title, hidden: true }, ...children);
    this._drawers[name] = node;
    this.places.drawer.append(node);
  }

  _toggle(name) {
    this._open = this._open === name ? "" : name;
    for (const [key, node] of Object.entries(this._drawers)) {
      node.hidden = key !== this._open;
      this._buttons[key].setAttribute("aria-expanded", String(key === this._open));
    }
    if (this._open) this._drawers[this._open].querySelector("input,select,button")?.focus({ preventScroll: true });
    this.on.resized();
  }

  _choices(name, title, list, current, choose) {
    const set = element("fieldset", { class: "choices" }, element("legend", {}, title));
    for (const [value, text, said] of list) {
      const input = element("input", { type: "radio", name, value: String(value), onchange: () => choose(value) });
      if (said) input.setAttribute("aria-label", said);
      set.append(element("label", {}, input, element("span", {}, ...pieces(text))));
      this._refresh.push(() => (input.checked = current() === value));
    }
    return set;
  }

  _box(text, current, change) {
    const input = element("input", { type: "checkbox", onchange: () => change(input.checked) });
    this._refresh.push(() => (input.checked = current()));
    return element("label", {}, input, element("span", {}, text));
  }

  _slider(label, low, high, said, current, change) {
    const input = element("input", { type: "range", min: low, max: high, step: 1, "aria-label": label });
    input.addEventListener("input", () => change(Number(input.value)));
    this._refresh.push(() => {
      input.value = String(current());
      input.setAttribute("aria-valuetext", said());
    });
    return input;
  }

  _range() {
    const { data, state, on } = this;
    const options = () => data.bars.map((bar, i) => {
      const section = data.sections[bar.section];
      return element("option", { value: i }, `${barName(data, i)}${section.name ? ` (${sectionSaid(data, section)})` : ""}`);
    });
    const first = element("select", { "aria-label": "First bar", onchange: () => on.choose(Number(first.value), Math.max(Number(first.value), state.last)) }, ...options());
    const last = element("select", { "aria-label": "Last bar", onchange: () => on.choose(Math.min(Number(last.value), state.first), Number(last.value)) }, ...options());
    this._refresh.push(() => {
      first.value = String(state.loop ? state.first : state.bar);
      last.value = String(state.loop ? state.last : data.bars.length - 1);
    });
    this._panel(
      "range", "Which bars",
      element("p", { class: "row-of" }, element("label", {}, "From bar ", first), " ", element("label", {}, "to bar ", last)),
      element("p", { class: "row-of" },
        plain("The whole tune once", () => on.wholeTune()),
        plain("This section again and again", () => on.thisSection()),
        plain("Everything again and again", () => on.choose(0, data.bars.length - 1))),
      element("p", { class: "hint" }, "Or drag over the bars. A tap on a bar plays from there."),
    );
  }

  _tempo() {
    const { data, state, on } = this;
    const bpm = element("output", { class: "figure" });
    this._refresh.push(() => bpm.replaceChildren(...pieces(bpmWords(data, state.percent))));
    this._panel(
      "tempo", "Tempo",
      element("p", { class: "slide" },
        plain("Slower", () => on.tempo(state.percent - 5)),
        this._slider("Tempo in percent", SLOWEST, FASTEST, () => `${state.percent} percent, ${bpmWords(data, state.percent)}`, () => state.percent, (v) => on.tempo(v)),
        plain("Faster", () => on.tempo(state.percent + 5))),
      element("p", { class: "row-of" }, bpm, ...PRESETS.map((v) => plain(`${v} %`, () => on.tempo(v)))),
    );
  }

  _key() {
    const { data, state, on } = this;
    const list = data.keys.map((key, i) => {
      const spoken = key.replace("♭", " flat").replace("♯", " sharp");
      return [i - 6, keyShort(data, i - 6), `${spoken}, ${shiftSaid(i - 6)}`];
    });
    this._panel("key", "Key", this._choices("key", "Key", list, () => state.shift, on.key));
  }

  _band() {
    const rows = this.data.players.map((player) => this._player(player.role, player.name));
    this._panel(
      "band", "Who plays, and how loud",
      element("div", { class: "mix" }, ...rows, this._player("click", "")),
      element("p", { class: "hint" }, "Keep headphones low enough to talk over, rest your ears now and then, and stop if they ring. A loud click needs no headphones."),
    );
  }

  _player(role, name) {
    const { on } = this;
    const one = () => this.state.players[role];
    const mute = element("input", { type: "checkbox", "aria-label": `${role} plays`, onchange: () => on.mute(role, !mute.checked) });
    this._refresh.push(() => (mute.checked = !one().silent));
    const first = this.data.levels[role] ?? 0;
    const level = this._slider(`Level of ${role}`, Math.min(QUIETEST, first), Math.max(LOUDEST, first), () => `${one().db} decibels`, () => one().db, (v) => on.level(role, v));
    const db = element("output", { class: "figure" });
    this._refresh.push(() => {
      const { db: value, silent } = one();
      db.textContent = silent ? "silent" : `${value > 0 ? "+" : value < 0 ? "−" : ""}${Math.abs(value)} dB`;
    });
    const only = role === "click" ? "" : plain("only", () => on.only(role), { "aria-label": `only ${role}, or everyone` });
    return element("div", { class: "player" }, element("label", { class: "who" }, mute, element("span", {}, role), element("small", {}, name === role ? "" : name)), level, db, only);
  }

  _click() {
    this._panel("click", "Click", this._choices("click", "Click", CLICKS.map(([value, , text]) => [value, text]), () => this.state.manner, this.on.click));
  }

  _count() {
    const { data, state, on } = this;
    const list = countsOffered(data).map((bars) => [bars, countShort(bars)]);
    const once = this._box("The first time only, when bars are repeated", () => state.firstOnly, on.firstOnly);
    this._panel("count", "Count-in", this._choices("count", "Count-in", list, () => state.countIn, on.count), element("p", { class: "choices" }, once));
  }

  _step() {
    const { state, on } = this;
    this._panel(
      "step", "Faster after each pass",
      this._choices("step", "Faster after each pass by", STEPS.map((v) => [v, v ? `${v} %` : "nothing"]), () => state.step, on.step),
      this._choices("top", "but no faster than", TOPS.map((v) => [v, `${v} %`]), () => state.top, on.top),
    );
  }

  _shown() {
    const { data, state, on } = this;
    const wanted = [
      ["melody", "The melody", data.staff],
      ["grips", "Grips for guitar", data.grips],
      ["tab", "Tab of the solo guitar", data.tab],
      ["hits", "Hits and kicks", data.bars.some((bar) => bar.hits >= 0 || bar.kicks >= 0)],
      ["beats", "Beats, counted while it plays", true],
    ];
    const boxes = wanted.filter(([, , can]) => can).map(([name, text]) => this._box(text, () => state.shown[name], (value) => on.shown(name, value)));
    this._panel("shown", "What is shown", element("p", { class: "choices" }, ...boxes));
  }
}
