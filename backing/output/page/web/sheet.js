// What is seen of the tune: the line that sounds with the next below, and all lines to choose from.
import { indexAt } from "./time.js";
import { element } from "./type.js";
import { LEAST, NARROW, chordsByBar, geometry, layRows, staffReach, together } from "./rows.js";
import { rowNode } from "./line.js";
import { clefWidth, figureOf } from "./staff.js";
import { picks } from "./pick.js";
import { Form } from "./form.js";
import { barSaid } from "./speak.js";

const LARGE = 64; // px: a root capital of 12 mm, for a stand
const LARGE_FROM = 1000; // px of width; below it sizes shrink evenly to those of a phone
const SMALL_AT = 360;
const NEXT = 0.72; // the size of the line below, as a share
const PRINTED = 600; // px: A4 between margins, less the left margin of the rows; together the width in the style
const PRINTED_SIZE = 20;
const SIDE = 84; // px: section and number beside a line
const SHARE = 0.5; // of the height of the window that the lines may take
const GRIPS = 160; // px that the grips below them take

// The size of chords in a window, px.
export function sizeIn(width, height) {
  const spread = Math.min(1, Math.max(0, (width - SMALL_AT) / (LARGE_FROM - SMALL_AT)));
  return Math.min(LEAST + 0.5 + spread * (LARGE - LEAST - 0.5), Math.max(LEAST + 0.5, height * 0.085));
}

export class Sheet {
  constructor(data, ruler, places, on, state) {
    Object.assign(this, { data, ruler, places, on, state, chords: [], chosen: [0, -1], cursor: 0 });
    this._whole = [];
    this._form = new Form(data, places.form, on.jump);
    for (const area of [places.stage, places.whole]) {
      picks(area, {
        tap: on.tap,
        choose: on.choose,
        choosing: (a, b) => this.choose(a, b),
        dropped: () => this.choose(state.loop ? state.first : 0, state.loop ? state.last : -1),
        reach: (bar) => on.choose(Math.min(bar, this.cursor), Math.max(bar, this.cursor)),
      });
    }
  }

  // What rows hold and how tall they are at a size.
  _look(width, size, narrow, sounding = false) {
    const { data, state, ruler } = this;
    const { shift, shown } = state;
    const figures = (n, by) => data.figures[n].map((f) => figureOf(f, by + 6));
    const has = {
      sung: data.bars.some((bar) => bar.words),
      staff: shown.melody ? staffReach(data, shift, figures) : null,
      tab: sounding && shown.tab && data.tab,
    };
    const named = (bar) => barSaid(data, this.chords, bar);
    return { data, ruler, width, size, shift, shown, named, has, plain: geometry(size, narrow, has), hit: geometry(size, narrow, { ...has, hits: true }) };
  }

  // The room that clef and signature take beside a line.
  _margin(size, narrow) {
    const { data, state } = this;
    const base = narrow ? 0 : SIDE;
    if (!state.shown.melody || !data.staff) return base;
    const { u } = geometry(size, narrow, { staff: { over: 0, under: 0 } }).staff;
    return Math.max(base, ...data.signatures.map((row) => Math.ceil(clefWidth(row[state.shift + 6], u))));
  }

  // The lines that sound and come in a size: the room beside them, and how tall each is.
  _sized(size, room, narrow) {
    const { data } = this;
    const margin = this._margin(size, narrow);
    this.size = size;
    this._here = this._look(room - margin, size, narrow, true);
    this._next = this._look((room - margin) / NEXT, size * NEXT, narrow);
    this._next.width = room - margin;
    const tallest = this.state.shown.hits && data.bars.some((bar) => bar.hits >= 0 || bar.kicks >= 0) ? "hit" : "plain";
    return [margin, this._here[tallest].height, this._next[tallest].height];
  }

  // Lay everything out anew: for another width or key.
  lay() {
    const { data, ruler, places } = this;
    const { shown } = this.state;
    this.chords = chordsByBar(data, this.state.shift);
    ruler.learn([...new Set(this.chords.flat().map((c) => c.part))]);
    const view = document.documentElement.clientWidth;
    const narrow = view < NARROW;
    const styles = getComputedStyle(places.stage);
    const room = places.stage.clientWidth - parseFloat(styles.paddingLeft) - parseFloat(styles.paddingRight);
    let [margin, tall, after] = this._sized(sizeIn(view, innerHeight), room, narrow);
    const free = this.on.room() - (shown.grips && data.grips ? GRIPS : 0);
    if (tall + after > free) [margin, tall, after] = this._sized(Math.max(LEAST + 0.5, (this.size * free) / (tall + after)), room, narrow);
    const most = Math.max(1, Math.floor((innerHeight * SHARE - after) / tall));
    this._groups = together(layRows(data, this.chords, ruler, room - margin, this.size, this._here.has), most);
    this._fullest = Math.max(...this._groups.map((g) => g.rows.length));
    places.stage.style.minHeight = `${Math.ceil(this._fullest * tall + after) + 20}px`;
    places.stage.style.setProperty("--margin", `${margin}px`);
    this._fill(room, LEAST + 0.5, narrow);
    this._shown = -1;
    this._ready = null;
    this._lit = null;
    this._markChosen();
    this.show(this.place ?? data.bars[this.cursor].start, false);
  }

  // All lines for paper; `lay` brings them back to the screen.
  print() {
    this._fill(PRINTED + SIDE, PRINTED_SIZE, false);
  }

  _fill(room, size, narrow) {
    const { data, places } = this;
    const margin = this._margin(size, narrow);
    const look = this._look(room - margin, size, narrow);
    places.whole.style.setProperty("--margin", `${margin}px`);
    this._whole = layRows(data, this.chords, this.ruler, look.width, size, look.has).map((row) => rowNode(row, look));
    this._starts = this._whole.map((r) => r.row);
    places.whole.replaceChildren(...this._whole.map((r) => r.node));
    let last = null;
    for (const r of this._whole) {
      const section = data.sections[data.bars[r.row.pieces[0].bar].section];
      if (data.choruses > 1 && section.chorus && section.chorus !== last) {
        r.node.before(element("h2", { class: "chorus" }, `Chorus ${section.chorus}`));
      }
      last = section.chorus;
    }
  }

  _built(index) {
    const set = (row, look, name) => {
      const made = rowNode(row, look);
      made.node.classList.add(name);
      this._markChosen(made.node);
      return made;
    };
    const { rows } = this._groups[index];
    const next = this._groups[index + 1]?.rows ?? [];
    return {
      index,
      here: rows.map((row) => set(row, this._here, "here")),
      next: next.slice(0, 1 + this._fullest - rows.length).map((row) => set(row, this._next, "next")),
    };
  }

  _showGroup(index) {
    if (index === this._shown) return;
    const grows = index === this._shown + 1 && this._shown >= 0;
    this._shown = index;
    const made = this._ready?.index === index ? this._ready : this._built(index);
    this._rows = made.here;
    this._marks = [...made.here, ...made.next].flatMap((r) => r.marks);
    this.places.stage.replaceChildren(...made.here.map((r) => r.node), ...made.next.map((r) => r.node));
    if (grows && !matchMedia("(prefers-reduced-motion: reduce)").matches) {
      for (const { node } of this._rows) {
        node.animate?.([{ transform: `translateY(60%) scale(${NEXT})`, transformOrigin: "0 0" }, { transform: "none", transformOrigin: "0 0" }], { duration: 160, easing: "ease-out" });
      }
    }
    // The line after is made in a quiet moment, so that the change costs no frame.
    this._ready = null;
    clearTimeout(this._soon);
    if (index + 1 < this._groups.length) this._soon = setTimeout(() => (this._ready = this._built(index + 1)), 200);
  }

  // Show a place of the tune; `sounds` is false before anything plays and while a bar is counted in.
  show(place, sounds) {
    const { data } = this;
    this.place = place;
    const p = Math.min(Math.max(place, data.bars[0].start), data.bars[data.bars.length - 1].end - 1e-4);
    this._showGroup(indexAt(this._groups, p));
    for (const row of this._rows) row.light(sounds ? place : 0);
    this._lightChords(p, sounds);
    const row = this._whole[indexAt(this._starts, p)];
    if (this._row && this._row !== row) {
      this._row.light(0);
      this._row.node.classList.remove("current");
    }
    this._row = row;
    row.node.classList.add("current");
    row.light(sounds ? place : 0);
    this._form.show(p, sounds);
  }

  _lightChords(p, sounds) {
    const n = sounds ? indexAt(this.data.chords, p) : -1;
    const coming = sounds ? n + 1 : indexAt(this.data.chords, p);
    const key = `${n}/${coming}/${this._shown}`;
    if (key === this._lit) return;
    this._lit = key;
    for (const mark of this._marks) {
      mark.node.classList.toggle("sounds", mark.n === n);
      mark.node.classList.toggle("comes", mark.n === coming);
    }
    this.on.chords(sounds ? n : coming, sounds);
  }

  // What is counted, beside the line that comes or sounds; "" for nothing.
  count(word, coming) {
    const row = this._rows?.find((r) => r.node.classList.contains("here") && r.row.end > this.place + 1e-6) ?? this._rows?.[0];
    const margin = row?.node.querySelector(".margin");
    for (const other of this.places.stage.querySelectorAll(".count")) if (!word || other.parentNode !== margin) other.remove();
    if (!word || !margin) return;
    let shown = margin.querySelector(".count");
    if (!shown) margin.append((shown = element("span", { class: "count", "aria-hidden": "true" })));
    if (shown.textContent !== word) shown.textContent = word;
    shown.classList.toggle("coming", coming);
  }

  setCursor(bar) {
    this.cursor = bar;
  }

  // The bars that are chosen to be repeated, -1 for none.
  choose(first, last) {
    this.chosen = [first, last];
    this._ready = null;
    this._markChosen();
  }

  _markChosen(root = document) {
    const [first, last] = this.chosen;
    for (const zone of root.querySelectorAll(".zone")) {
      const bar = Number(zone.dataset.bar);
      const inside = bar >= first && bar <= last;
      zone.classList.toggle("chosen", inside);
      zone.classList.toggle("chosen-first", inside && bar === first);
      zone.classList.toggle("chosen-last", inside && bar === last);
      zone.setAttribute("aria-pressed", String(inside));
    }
    if (root !== document) return;
    const { whole } = this.places;
    const reach = whole.querySelector(`.zone[data-bar="${this.cursor}"]`) ?? whole.querySelector(".zone");
    for (const zone of whole.querySelectorAll('.zone[tabindex="0"]')) zone.setAttribute("tabindex", "-1");
    reach?.setAttribute("tabindex", "0");
  }
}
