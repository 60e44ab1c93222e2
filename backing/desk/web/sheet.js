// The sheet beside the text: a picture with a target over every bar, in step with the cursor and with the band.
import { element } from "../page/type.js";

const spoken = (bar) => `bar ${bar.number}${bar.section ? ` of ${bar.section}` : ""}: ${bar.chords}`;

// `on`: go(place) when a bar is pressed.
export class Sheet {
  constructor({ pane, paper, words }, on) {
    Object.assign(this, { pane, paper, words, on });
    this.bars = []; // { at, to, number, section, chords }, in the order of the text
    this._zones = []; // { at, node }
    this._at = 0;
    this._playing = null;
    paper.addEventListener("keydown", (event) => this._key(event));
  }

  get wide() {
    return Math.max(0, Math.min(this.paper.clientWidth, 860)) * 0.72;
  }

  // What was seen in a text; `place` moves its places to where they are now.
  show({ sheet, bars }, place) {
    this.paper.classList.toggle("old", !sheet?.svg);
    if (sheet?.failed) this._say(sheet.failed);
    else this._say(sheet ? "" : this._zones.length ? "The sheet is as it was before the mistake." : "The sheet comes when the mistake is mended.");
    if (!sheet?.svg) return;
    this.bars = bars.map((bar) => ({ ...bar, at: place(bar.at), to: place(bar.to) }));
    const known = new Map(bars.map((bar, i) => [bar.at, this.bars[i]]));
    const picture = new DOMParser().parseFromString(sheet.svg, "image/svg+xml").documentElement;
    for (const name of ["width", "height", "role", "aria-labelledby", "aria-describedby"]) picture.removeAttribute(name);
    for (const told of picture.querySelectorAll("title, desc")) told.remove(); // the targets over the bars tell them one by one
    picture.setAttribute("aria-hidden", "true");
    this._zones = sheet.bars.map(([at, ...box]) => this._zone(known.get(at), box, sheet));
    this.paper.replaceChildren(document.adoptNode(picture), ...this._zones.map((zone) => zone.node));
    this.cursor(this._at);
    this.playing(this._playing);
  }

  clear(words) {
    this.bars = this._zones = [];
    this.paper.replaceChildren();
    this._say(words);
  }

  _say(words) {
    this.words.hidden = !words;
    this.words.textContent = words;
  }

  _zone(bar, [x1, y1, x2, y2], { wide, high }) {
    const node = element("button", { type: "button", class: "zone", tabindex: "-1", "aria-label": spoken(bar), onclick: () => this.on.go(bar.at) });
    const share = (value, whole) => `${((100 * value) / whole).toFixed(3)}%`;
    Object.assign(node.style, { left: share(x1, wide), top: share(y1, high), width: share(x2 - x1, wide), height: share(y2 - y1, high) });
    return { bar, node };
  }

  // The bar in which a place lies, or the last before it.
  barAt(at) {
    return this.bars.findLast((bar) => bar.at <= at) ?? null;
  }

  // Light the bar of the cursor, and keep it in sight.
  cursor(at) {
    this._at = at;
    const here = this.barAt(at);
    this._light("cursor", (bar) => bar === here && at <= bar.to + 1);
    const lit = this._zones.find((zone) => zone.bar === here);
    for (const { node } of this._zones) node.tabIndex = -1;
    const first = lit ?? this._zones[0];
    if (first) first.node.tabIndex = 0;
    if (lit && !this.paper.contains(document.activeElement)) this._see(lit.node);
  }

  // Light the bar that sounds, by its number; null for none.
  playing(number) {
    this._playing = number;
    const lit = this._light("now", (bar) => bar.number === number);
    if (lit) this._see(lit.node);
  }

  _light(name, is) {
    let first = null;
    for (const zone of this._zones) {
      const on = is(zone.bar);
      zone.node.classList.toggle(name, on);
      if (name === "cursor") zone.node.toggleAttribute("aria-current", on);
      first ??= on ? zone : null;
    }
    return first;
  }

  _see(node) {
    const box = node.getBoundingClientRect(), room = this.pane.getBoundingClientRect();
    if (box.top < room.top) this.pane.scrollTop -= room.top - box.top + 12;
    else if (box.bottom > room.bottom) this.pane.scrollTop += box.bottom - room.bottom + 12;
  }

  _key(event) {
    const at = this._zones.findIndex(({ node }) => node === document.activeElement);
    const to = { ArrowRight: at + 1, ArrowLeft: at - 1, Home: 0, End: this._zones.length - 1 }[event.key];
    if (at < 0 || to === undefined || !this._zones[to]) return;
    event.preventDefault();
    this._zones[at].node.tabIndex = -1;
    this._zones[to].node.tabIndex = 0;
    this._zones[to].node.focus();
  }
}
