// The desk: a chart as text, its sheet, its band, and what is taken away, in step with each other.
import { element, pieces } from "../page/type.js";
import { Line } from "./ask.js";
import { fillAnswers } from "./answers.js";
import { Band } from "./band.js";
import { chordAt, chordNodes } from "./chords.js";
import { completer } from "./complete.js";
import { Drawers, plain } from "./drawers.js";
import { Editor } from "./editor.js";
import { Files } from "./files.js";
import { Said } from "./said.js";
import { Wish, fillFrom, fillKey, fillTaking, fillTempo, fillWho, signed, whoWords } from "./sentence.js";
import { Sheet } from "./sheet.js";
import { fillShelf } from "./shelf.js";
import { fillStyles } from "./styles.js";
import { Take } from "./take.js";
import { folder } from "./ask.js";

const LOOK_MS = 120; // of quiet before a text is looked at
const TELL_MS = 800; // and before words about a mistake in it are shown
const USUAL_VOLUME = 70; // per cent: somebody with headphones on shall not be startled
const WIDE = 1000; // px from which the sheet may stand beside the text
const place = (id) => document.getElementById(id);

class Desk {
  constructor() {
    this.wish = new Wish();
    this.track = null;
    this.words = null;
    this.revision = 0;
    this.chords = new Map(); // symbol: what is told of it
    this.line = new Line((on) => this.lineIs(on));
    this.files = new Files({ opened: (text, words) => this.opened(text, words), saved: (words) => this.saved(words) });
    this.band = new Band({ place: (at) => this.placed(at), state: (state) => this.bandIs(state) });
    this.sheet = new Sheet({ pane: place("sheet"), paper: place("paper"), words: place("sheet-told") }, { go: (at) => this.editor.go(at) });
    this.editor = new Editor(place("editor"), {
      changed: (text) => this.changed(text),
      cursor: (state, typed) => this.cursor(state, typed),
      complete: completer(() => this.words),
      hover: (view, at) => this.hover(view, at),
      keys: [
        { key: "Mod-s", run: () => (this.save(), true), preventDefault: true },
        { key: "Mod-Enter", run: () => (this.toggle(), true) },
        { key: "F8", run: () => this.said.next() },
      ],
    });
    this.said = new Said(place("said"), this.editor, { chord: (symbol) => this.chord(symbol), answers: () => this.answers(), strike: (symbol) => this.strike(symbol) });
    this.take = new Take(this.line, () => ({ text: this.editor.text, name: this.files.name || "tune.txt", wish: this.wish.options() }));
    this.top();
    this.bottom();
    this.beside(localStorage.getItem("desk beside") !== "no");
    addEventListener("resize", () => this.soon());
    addEventListener("beforeunload", () => this.files.keep(this.editor.text));
    addEventListener("pagehide", () => this.files.keep(this.editor.text));
  }

  async start() {
    try {
      const found = await this.files.list();
      this.band.there = found.sound;
      const { share, set } = this.loud();
      set(share);
      const name = this.files.usual();
      if (name) await this.files.open(name);
      else {
        this.sheet.clear("There is no chart in this folder yet. Begin one above.");
        this.shelf.open();
      }
    } catch (wrong) {
      this.say(wrong.message);
    }
    this.words = await this.line.ask("words").catch(() => null);
    this.update();
  }

  // the two sentences

  top() {
    const drawers = new Drawers(place("folder"), place("opened"));
    const name = drawers.word("file", "", "the folder, and this chart's file", (node) => this.fillShelf(node));
    this.saveWord = plain("save it", () => this.save(), { id: "save" });
    this.savedWords = element("span", { id: "saved" });
    place("opened").append(", ", this.savedWords, " ", this.saveWord, " ", element("a", { class: "plain", href: "/guide/first-chart", target: "_blank", rel: "noopener" }, "guide"), " ", element("button", { type: "button", class: "plain", id: "end", onclick: () => this.end(), "aria-label": "close the desk" }, "close", element("span", { class: "more" }, " the desk")));
    this.shelf = { name, open: () => drawers.toggle("file"), refill: name.refill, shut: () => drawers.shut({ focus: false }) };
  }

  fillShelf(node) {
    const act = (work) => work.catch((wrong) => this.say(wrong.message));
    const opens = (work) => act(work.then(() => (this.shelf.shut(), this.editor.view.focus())));
    fillShelf(node, this.files, {
      open: (name) => (this.files.keep(this.editor.text), opens(this.files.open(name))),
      begin: (name) => (this.files.keep(this.editor.text), opens(this.files.begin(name, this.files.known ? "" : this.editor.text))),
      rename: (name) => act(this.files.rename(name, this.editor.text).then(this.shelf.refill)),
      remove: () => act(this.remove()),
      restore: (name) => opens(this.files.restore(name).then((back) => this.files.open(back))),
      again: () => opens(this.files.again()),
      changed: () => this.files.changed(this.editor.text),
    });
  }

  async remove() {
    const name = this.files.name;
    this.files.keep(this.editor.text);
    await this.files.remove(name);
    const next = this.files.found.charts[0]?.name;
    this.files.name = "";
    if (next) await this.files.open(next);
    else this.editor.open("");
    this.shelf.refill();
    this.say(`${name} lies in the bin.`);
  }

  bottom() {
    const drawers = (this.drawers = new Drawers(place("drawer"), place("sentence")));
    this.playButton = element("button", { type: "button", id: "play", class: "word play", onclick: () => this.toggle() }, "Play");
    place("sentence").append(this.playButton);
    const change = (...told) => () => {
      this.hold(...told);
      this.update();
    };
    this.units = {
      from: drawers.word("from", "", "where it begins", (node) => fillFrom(node, this.wish, change("loop"))),
      tempo: drawers.word("tempo", "at ", "tempo", (node) => fillTempo(node, this.track, this.wish, change("tempo"))),
      key: drawers.word("key", "in ", "key", (node) => fillKey(node, this.track, this.wish, change("key"))),
      style: drawers.word("style", "as ", "style", (node) => this.fillStyles(node), ","),
      who: drawers.word("who", "with ", "who plays, and how loud", (node) => fillWho(node, this.track, this.wish, change("level"), this.band.there ? this.loud() : null), ","),
      take: drawers.word("take", "", "another take", (node) => fillTaking(node, this.wish, change("seed")), "."),
      answers: drawers.word("answers", "", "chords for the melody", (node) => this.fillAnswers(node), "."),
      away: drawers.word("away", "", "files to take away", (node) => this.take.fill(node), "."),
      shown: drawers.word("shown", "The sheet is ", "where the sheet is", (node) => this.fillShown(node), "."),
    };
  }

  loud() {
    const set = (percent) => {
      localStorage.setItem("desk volume", String(percent));
      this.band.volume = percent / 100;
    };
    return { share: Number(localStorage.getItem("desk volume") ?? USUAL_VOLUME), set };
  }

  fillStyles(node) {
    const use = (name) => {
      this.useStyle(name);
      this.drawers.shut();
    };
    fillStyles(node, this.words?.styles ?? [], this.track?.style, { use, hear: this.band.there ? (name) => this.heard(this.band.hear(name)) : null });
  }

  fillAnswers(node) {
    const before = this.editor.text;
    fillAnswers(node, {
      ask: () => this.answers(),
      hear: this.band.there ? (text) => this.heard(this.band.hearText(text, this.files.name)) : null,
      write: (changes) => {
        if (this.editor.text !== before) return this.say("The text has changed meanwhile; look for chords again.");
        this.editor.change(changes);
        this.drawers.shut({ focus: false });
        this.editor.view.focus();
        this.say("The chords are written; Ctrl-Z takes them back.");
      },
    });
  }

  // Answers for the `?` of the text as it is; asked for once.
  answers() {
    const { text } = this.editor;
    if (this._answers?.text !== text) this._answers = { text, found: this.line.ask("answers", { text, name: this.files.name || "tune.txt" }) };
    return this._answers.found;
  }

  fillShown(node) {
    const choice = (on, words) => {
      const input = element("input", { type: "radio", name: "shown", checked: on === this.isBeside, onchange: () => this.beside(on) });
      return element("label", {}, input, words);
    };
    node.replaceChildren(element("fieldset", { class: "choices" }, element("legend", {}, "The sheet is"), choice(true, "beside the text, where there is room"), choice(false, "under the text")));
  }

  beside(on) {
    this.isBeside = on;
    document.body.classList.toggle("beside", on);
    localStorage.setItem("desk beside", on ? "yes" : "no");
    this.soon();
    this.update();
  }

  update() {
    const { track, wish, units } = this;
    if (!units) return;
    const { name } = this.files;
    const changed = this.files.known && this.files.changed(this.editor.text);
    this.shelf.name.say(name ? name.replace(/\.txt$/i, "") : "no chart yet");
    this.savedWords.textContent = !name ? "begin one." : changed ? "unsaved:" : "saved.";
    this.saveWord.hidden = !changed;
    document.title = `${changed ? "• " : ""}${name || "The music desk"}`;
    const bar = this.sheet.barAt(this.editor.selection.head);
    const loop = this.selected();
    const can = Boolean(track); // what the chart was before a mistake is still asked for in the same words
    this.playButton.textContent = this.band.playing ? "Stop" : "Play";
    this.playButton.hidden = !this.band.there;
    for (const key of ["tempo", "key", "who", "take", "away"]) units[key].show(can);
    units.from.show(can && this.band.there);
    units.style.show(can && Boolean(this.words));
    units.answers.show(this.wanted ?? false);
    units.answers.say("Find the chords");
    units.shown.show(innerWidth >= WIDE);
    units.shown.say(this.isBeside ? "beside the text" : "under the text");
    if (!can) return;
    units.from.say(loop ? `bars ${loop.from} to ${loop.to} again and again` : bar ? `from bar ${bar.number}` : "from the beginning");
    units.tempo.say(`${wish.percent} % (${Math.round((track.bpm * wish.percent) / 100)} bpm)`);
    units.key.say(signed(wish.key ?? track.key));
    units.style.say(track.style);
    units.who.say(whoWords(track.players, wish));
    units.take.say(`take ${wish.seed}`);
    units.away.say("Take it away");
  }

  say(words) {
    place("message").textContent = words;
    clearTimeout(this._saying);
    this._saying = setTimeout(() => (place("message").textContent = ""), 9000);
  }

  // the text

  opened(text, words) {
    this.track = null;
    this._typed = 0;
    this.wish = Object.assign(this.wish, new Wish());
    this.editor.open(text);
    place("message").textContent = "";
    if (words) this.say(words);
  }

  changed(text) {
    this.revision += 1;
    this._typed = performance.now();
    this.band.typed();
    clearTimeout(this._keeping);
    this._keeping = setTimeout(() => this.files.keep(text), 400);
    this.soon();
    this.update();
  }

  soon() {
    clearTimeout(this._soon);
    this._soon = setTimeout(() => this.look(), LOOK_MS);
  }

  look() {
    const text = this.editor.text, name = this.files.name || "tune.txt";
    const { revision } = this;
    const ask = (what, told, take) => {
      this.editor.asked(what, revision);
      this.line.ask(what, { text, name, revision, ...told }).then(take, (wrong) => this.say(wrong.message));
    };
    ask("look", {}, (seen) => this.seen(seen, text));
    ask("draw", { wide: this.sheet.wide }, (drawn) => this.drawn(drawn));
  }

  seen(seen, text) {
    if (!this.editor.receive(seen)) return;
    this.wanted = seen.wanted;
    this.playable = Boolean(seen.track);
    this.track = seen.track ?? (seen.wanted ? null : this.track);
    if (seen.track) this.band.chart({ name: this.files.name, text, revision: seen.revision });
    this.told(true);
    this.update();
    document.body.dataset.seen = String(seen.revision);
  }

  drawn({ revision, ...drawn }) {
    const moved = this.editor.moved("draw", revision);
    if (!moved) return;
    this.sheet.show(drawn, moved);
    this.sheet.cursor(this.editor.selection.head);
    this.update();
    document.body.dataset.drawn = String(revision);
  }

  // A mistake in a line that is still being typed is not told of before the hands rest.
  told(typed = false) {
    clearTimeout(this._telling);
    const rest = typed ? this._typed + TELL_MS - performance.now() : 0;
    if (rest > 0) this._telling = setTimeout(() => this.said?.update(), rest);
    else this.said?.update();
  }

  cursor(state, typed) {
    this.sheet.cursor(state.selection.main.head);
    this.told(typed);
    if (this.wish.repeat) this.hold("loop");
    this.update();
  }

  async save() {
    if (!this.files.known) return this.shelf.open();
    try {
      await this.files.save(this.editor.text);
    } catch (wrong) {
      this.say(`It is not saved: ${wrong.message}`);
    }
  }

  saved(words) {
    this.update();
    this.say(words);
  }

  useStyle(name) {
    const { doc } = this.editor.view.state;
    const text = doc.toString();
    const head = text.slice(0, text.search(/^\s*(\[|\||:\|)/m) >>> 0);
    const found = head.match(/^([ \t]*style:[ \t]*)([^#\n]*?)([ \t]*(?:#.*)?)$/im);
    if (found) {
      const from = found.index + found[1].length;
      this.editor.change({ from, to: from + found[2].length, insert: name });
    } else {
      const title = head.match(/^[ \t]*title:.*\n/im);
      this.editor.change({ from: title ? title.index + title[0].length : 0, insert: `style: ${name}\n` });
    }
  }

  // chords

  async chord(symbol) {
    if (!this.chords.has(symbol)) this.chords.set(symbol, await this.line.ask("chord", { symbol, german: /^\s*note-names:\s*german/im.test(this.editor.text) }));
    return this.chords.get(symbol);
  }

  strike(symbol) {
    return this.band.there ? () => this.heard(this.band.strike(symbol)) : null;
  }

  async hover(view, at) {
    const found = chordAt(view.state, at);
    if (!found) return null;
    const told = await this.chord(found.symbol).catch(() => null);
    if (!told || told.error) return null;
    return { pos: found.from, end: found.to, above: true, create: () => ({ dom: element("div", { class: "cm-diagnostic" }, ...chordNodes(told, this.strike(found.symbol))) }) };
  }

  // the band

  // The bars that are selected and wanted again and again, null for none.
  selected() {
    const { from, to } = this.editor.selection;
    if (!this.wish.repeat || from === to) return null;
    const first = this.sheet.barAt(from) ?? this.sheet.bars[0], last = this.sheet.barAt(to - 1);
    return first && last ? { from: first.number, to: last.number } : null;
  }

  hold(what) {
    const { wish } = this;
    if (what === "tempo") this.band.hold("tempo", { percent: wish.percent });
    if (what === "key") this.band.hold("key", { to: wish.key });
    if (what === "seed") this.band.hold("seed", { n: wish.seed });
    if (what === "loop") this.band.hold("loop", { bars: this.selected() });
    if (what === "level") for (const player of this.track.players) this.band.hold("level", { player, dB: wish.silent.has(player) ? null : wish.levels.get(player) ?? 0 }, `level ${player}`);
  }

  toggle() {
    if (!this.band.there) return;
    if (this.band.playing) return this.band.stop();
    if (!this.playable) return this.say(this.wanted ? "Chords are still to be found; find them first." : "There is a mistake in the chart; mend it first.");
    this.heard(this.band.play(this.editor.selection.from));
  }

  async heard(work) {
    await work.catch((wrong) => this.say(`It cannot be heard: ${wrong.message}`));
  }

  placed(at) {
    this.sheet.playing(at ? at.bar : null);
  }

  bandIs({ failed }) {
    if (failed) this.say(failed);
    if (!this.band.playing) this.sheet.playing(null);
    this.update();
  }

  // the desk itself

  lineIs(on) {
    if (!on) return this.say("The desk does not answer; it may have been closed. What you typed is kept in this browser.");
    if (this._lost) this.soon();
    this._lost = true;
  }

  async end() {
    this.files.keep(this.editor.text);
    this.line.ended = true;
    await folder("/end", {}).catch(() => null);
    document.body.replaceChildren(element("main", { class: "guide" }, element("h1", {}, "The desk is closed."), element("p", {}, ...pieces("What you typed and did not save is kept in this browser. This page may be closed too."))));
  }
}

const desk = (window.desk = new Desk());
desk.start();
