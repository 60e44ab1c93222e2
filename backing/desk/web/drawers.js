// A sentence whose words open drawers, one at a time; Escape shuts it again and goes back to its word.
import { element } from "../page/type.js";

export class Drawers {
  constructor(place, sentence) {
    Object.assign(this, { place, sentence });
    this._open = "";
    this._found = {};
    sentence.closest("header, section").addEventListener("keydown", (event) => {
      if (event.key !== "Escape" || !this._open) return;
      event.preventDefault();
      this.shut();
    });
  }

  // A word of the sentence: what stands before it, what it is about, what it says, and what its drawer holds when it opens.
  word(name, lead, about, fill, tail = "") {
    const said = element("span");
    const button = element("button", { type: "button", class: "word", id: `word-${name}`, "aria-expanded": "false", "aria-controls": `drawer-${name}`, onclick: () => this.toggle(name) }, said, element("span", { class: "unseen" }, `: ${about}`));
    const unit = element("span", { class: "unit" }, lead, button, tail);
    this.sentence.append(" ", unit);
    const node = element("div", { id: `drawer-${name}`, role: "group", "aria-label": about, hidden: true });
    this.place.append(node);
    this._found[name] = { button, node, fill, unit };
    return { say: (text) => (said.textContent = text), show: (on) => (unit.hidden = !on), refill: () => this._open === name && fill(node), unit };
  }

  toggle(name) {
    if (this._open === name) return this.shut();
    if (this._open) this._set(this._open, false);
    this._open = name;
    this._set(name, true);
    const { node, fill } = this._found[name];
    fill(node);
    node.querySelector("input, select, button, a")?.focus({ preventScroll: true });
  }

  shut({ focus = true } = {}) {
    if (!this._open) return;
    const { button } = this._found[this._open];
    this._set(this._open, false);
    this._open = "";
    if (focus) button.focus();
  }

  _set(name, on) {
    const { button, node } = this._found[name];
    node.hidden = !on;
    button.setAttribute("aria-expanded", String(on));
  }
}

export const plain = (text, act, properties = {}) => element("button", { type: "button", class: "plain", onclick: act, ...properties }, text);
