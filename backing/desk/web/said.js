// The line under the text: the mistake at the cursor, or the next one, with what mends it; else the chord at the cursor.
import { element } from "../page/type.js";
import { mend, mistakes } from "./editor.js";
import { chordAt, chordNodes } from "./chords.js";

export class Said {
  // `on`: chord(symbol) a promise, strike(symbol) or null.
  constructor(place, editor, on) {
    Object.assign(this, { place, editor, on });
    this._shown = "";
  }

  update() {
    const { state } = this.editor.view;
    const found = state.field(mistakes);
    const here = this._nearest(found, state);
    if (here) return this._mistake(here, found, state);
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
