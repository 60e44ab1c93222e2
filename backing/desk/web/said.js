// The line under the text: the mistake at the cursor, or the next one, with what mends it; else the chord at the cursor.
import { element } from "../page/type.js";
import { mend, mistakes } from "./editor.js";
import { chordAt, chordNodes } from "./chords.js";

// Where the `?` stands that the cursor is on, null for none.
function wantedAt(state) {
  const { head } = state.selection.main;
  const line = state.doc.lineAt(head);
  if (!/^\s*(\||:\|)/.test(line.text)) return null;
  return [head, head - 1].find((at) => at >= line.from && state.sliceDoc(at, at + 1) === "?") ?? null;
}

export class Said {
  // `on`: chord(symbol) and answers() promises, strike(symbol) what strikes it, or null.
  constructor(place, editor, on) {
    Object.assign(this, { place, editor, on });
    this._shown = "";
  }

  update() {
    const { state } = this.editor.view;
    const found = state.field(mistakes);
    const here = this._nearest(found, state);
    if (here) return this._mistake(here, found, state);
    const wanted = wantedAt(state);
    if (wanted !== null) return this._wanted(wanted);
    const chord = chordAt(state, state.selection.main.head);
    if (chord) return this._chord(chord.symbol);
    this._put("", () => []);
  }

  // What is wrong on the line of the cursor, else the first that is wrong at all.
  _nearest(found, state) {
    const line = state.doc.lineAt(state.selection.main.head);
    return found.find((mark) => mark.from <= line.to && mark.to >= line.from) ?? found.find((mark) => mark.severity === "error") ?? found[0];
  }

  _mistake(mark, found, state) {
    const line = state.doc.lineAt(Math.min(mark.from, state.doc.length)).number;
    const n = found.indexOf(mark);
    const key = `${n} ${found.length} ${line} ${mark.code} ${mark.message} ${mark.hint} ${mark.fixes.map((fix) => fix.label)}`;
    this._put(key, () => {
      const count = found.length > 1 ? ` (${n + 1} of ${found.length})` : "";
      const words = element("p", {}, element("span", { class: mark.severity === "error" ? "wrong" : "" }, `Line ${line}${count}: ${mark.message}.`), mark.hint ? ` To mend it, ${mark.hint}.` : "");
      const row = element("p", { class: "row-of" });
      for (const i of mark.fixes.keys()) row.append(element("button", { type: "button", class: "plain", onclick: () => this._mend(n, i) }, mark.fixes[i].label));
      if (found.length > 1) row.append(element("button", { type: "button", class: "plain", onclick: () => this.next() }, "next one"));
      row.append(element("a", { class: "plain", href: `/guide/${mark.code}`, target: "_blank", rel: "noopener" }, `about ${mark.code}`));
      return [words, row];
    });
  }

  _mend(n, i) {
    const fix = this.editor.view.state.field(mistakes)[n]?.fixes[i];
    if (fix) mend(this.editor.view, fix);
  }

  // Put the cursor to the next mistake.
  next() {
    const { state } = this.editor.view;
    const found = state.field(mistakes);
    const after = found.find((mark) => mark.from > state.selection.main.head) ?? found[0];
    if (after) this.editor.go(after.from);
    return true;
  }

  // What may stand for a `?`: the answers for this place, the best first, each once, with its reasons.
  async _wanted(at) {
    const key = `wanted ${at} ${this.editor.text}`;
    if (this._shown === key) return;
    this._shown = key;
    this.place.replaceChildren(element("p", {}, "A chord is to be found here. Looking for it …"));
    const found = await this.on.answers().catch((wrong) => ({ answers: [], failed: wrong.message }));
    if (this._shown !== key) return;
    const here = found.answers.flatMap(({ changes }) => changes.filter(({ from, to }) => from <= at && at < to));
    const once = [...new Map(here.map((change) => [change.insert, change])).values()];
    const rows = once.map((change) => element("li", {}, element("button", { type: "button", class: "plain name", onclick: () => this._write(change), "aria-label": `write ${change.insert}` }, change.insert), element("span", { class: "soft" }, change.why), ...this._hear(change.insert)));
    this.place.replaceChildren(element("p", {}, rows.length ? "A chord is to be found here; press one to write it." : `No chord is found: ${found.failed}.`), element("ol", { class: "files" }, ...rows));
  }

  _hear(symbol) {
    const strike = /\s/.test(symbol) ? null : this.on.strike(symbol);
    return strike ? [element("button", { type: "button", class: "plain", onclick: strike, "aria-label": `hear ${symbol}` }, "hear")] : [];
  }

  _write({ from, to, insert }) {
    this.editor.change({ from, to, insert });
    this.editor.view.focus();
  }

  async _chord(symbol) {
    const key = `chord ${symbol}`;
    if (this._shown === key) return;
    this._shown = key;
    const told = await this.on.chord(symbol).catch(() => null);
    if (this._shown !== key) return;
    this._shown = "";
    this._put(key, () => (told && !told.error ? chordNodes(told, this.on.strike(symbol)) : []));
  }

  _put(key, nodes) {
    if (this._shown === key) return;
    this._shown = key;
    this.place.replaceChildren(...nodes());
  }
}
