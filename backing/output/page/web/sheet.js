// What is seen of the tune: its form in words, the line that sounds with the next below, and all lines to choose from.
import { indexAt } from "./time.js";
import { LEAST, chordsByBar, element, layRows, rowNode, together } from "./rows.js";
import { barSaid, sectionSaid } from "./speak.js";

const LARGE = 64; // px: a root capital of 12 mm, for a stand
const LARGE_FROM = 1000; // px of width; below it sizes shrink evenly to those of a phone
const SMALL_AT = 360;
const NEXT = 0.72; // the size of the line below, as a share
const PRINTED = 600; // px: A4 between margins, less the left margin of the rows
const PRINTED_SIZE = 20;
const SHARE = 0.5; // of the height of the window that the two lines may take

export function createSheet(data, ruler, places, on) {
  const { stage, whole, form } = places;
  const sheet = { chords: [] };
  let groups = [], wholeRows = [], wholeStarts = [], lit = null, litForm = -1, shown = -1, here = [], marks = [], ready = null, soon = 0, fullest = 1, chosen = [0, -1], shift = 0, cursor = 0;
  let size = LARGE, width = 0;

  const words = data.sections.map((section) => {
    const fill = element("i", { class: "gone" });
    const button = element("button", { type: "button", "aria-label": sectionSaid(data, section), onclick: () => on.jump(section.first) }, section.name, fill);
    return { button, fill, start: data.bars[section.first].start, end: data.bars[section.last].end, section };
  });
  words.forEach(({ button, section }, i) => {
    if (i && section.chorus !== words[i - 1].section.chorus) form.append(element("span", { class: "between", "aria-hidden": "true" }, "·"));
    form.append(button);
  });

  const named = (bar) => barSaid(data, sheet.chords, bar);

  // Lay everything out anew: for another width or key.
  sheet.lay = (semitones) => {
    shift = semitones;
    sheet.chords = chordsByBar(data, shift);
    ruler.learn([...new Set(sheet.chords.flat().map((c) => c.part))]);
    const view = document.documentElement.clientWidth;
    const spread = Math.min(1, Math.max(0, (view - SMALL_AT) / (LARGE_FROM - SMALL_AT)));
    const tall = Math.max(LEAST + 0.5, innerHeight * 0.085);
    size = Math.min(LEAST + 0.5 + spread * (LARGE - LEAST - 0.5), tall);
    document.documentElement.style.setProperty("--stage", `${size}px`);
    const styles = getComputedStyle(stage);
    width = stage.clientWidth - parseFloat(styles.paddingLeft) - parseFloat(styles.paddingRight) - parseFloat(styles.getPropertyValue("--margin"));
    const tallness = parseFloat(styles.getPropertyValue("--row")) * size + parseFloat(styles.getPropertyValue("--row-more"));
    const most = Math.max(1, Math.floor((innerHeight * SHARE) / tallness - NEXT));
    groups = together(layRows(data, sheet.chords, ruler, width, size), most);
    fullest = Math.max(...groups.map((g) => g.rows.length));
    stage.style.minHeight = `${Math.ceil((fullest + NEXT) * tallness) + 20}px`;
    fill(width, LEAST + 0.5);
    shown = -1;
    ready = null;
    lit = null;
    markChosen();
    sheet.show(sheet.place ?? data.bars[cursor].start, false);
  };

  // All lines for paper, and back to the screen.
  sheet.print = () => fill(PRINTED, PRINTED_SIZE);

  function fill(room, em) {
    wholeRows = layRows(data, sheet.chords, ruler, room, em).map((row) => rowNode(row, data, ruler, room, em, named));
    wholeStarts = wholeRows.map((r) => r.row);
    whole.replaceChildren(...wholeRows.map((r) => r.node));
    let last = null;
    for (const r of wholeRows) {
      const section = data.sections[data.bars[r.row.pieces[0].bar].section];
      if (data.choruses > 1 && section.chorus && section.chorus !== last) {
        r.node.before(element("h2", { class: "chorus" }, `Chorus ${section.chorus}`));
      }
      last = section.chorus;
    }
  }

  function built(index) {
    const set = (row, share, name) => {
      const made = rowNode(row, data, ruler, width / share, size * share, named);
      made.node.classList.add(name);
      markChosen(made.node);
      return made;
    };
    const { rows } = groups[index];
    const next = groups[index + 1]?.rows ?? [];
    return {
      index,
      here: rows.map((row) => set(row, 1, "here")),
      next: next.slice(0, 1 + fullest - rows.length).map((row) => set(row, NEXT, "next")),
    };
  }

  function showGroup(index) {
    if (index === shown) return;
    const grows = index === shown + 1 && shown >= 0;
    shown = index;
    const made = ready?.index === index ? ready : built(index);
    here = made.here;
    marks = [...made.here, ...made.next].flatMap((r) => r.marks);
    stage.replaceChildren(...made.here.map((r) => r.node), ...made.next.map((r) => r.node));
    if (grows && !matchMedia("(prefers-reduced-motion: reduce)").matches) {
      for (const { node } of here) {
        node.animate([{ transform: `translateY(60%) scale(${NEXT})`, transformOrigin: "0 0" }, { transform: "none", transformOrigin: "0 0" }], { duration: 160, easing: "ease-out" });
      }
    }
    // The line after is made in a quiet moment, so that the change costs no frame.
    ready = null;
    clearTimeout(soon);
    if (index + 1 < groups.length) soon = setTimeout(() => (ready = built(index + 1)), 200);
  }

  // Show a place of the tune; `sounds` is false before anything plays and while a bar is counted in.
  sheet.show = (place, sounds) => {
    sheet.place = place;
    const p = Math.min(Math.max(place, data.bars[0].start), data.bars[data.bars.length - 1].end - 1e-4);
    showGroup(indexAt(groups, p));
    for (const row of here) row.light(sounds ? place : 0);
    const n = sounds ? indexAt(data.chords, p) : -1;
    const key = `${n}/${shown}`;
    if (key !== lit) {
      lit = key;
      const coming = sounds ? n + 1 : indexAt(data.chords, p);
      for (const mark of marks) {
        mark.node.classList.toggle("sounds", mark.n === n);
        mark.node.classList.toggle("comes", mark.n === coming);
      }
    }
    const row = wholeRows[indexAt(wholeStarts, p)];
    if (sheet.row && sheet.row !== row) {
      sheet.row.light(0);
      sheet.row.node.classList.remove("current");
    }
    sheet.row = row;
    row.node.classList.add("current");
    row.light(sounds ? place : 0);
    const at = indexAt(words, p);
    if (at !== litForm) {
      words.forEach(({ button, fill }, i) => {
        fill.style.transform = "scaleX(0)";
        if (i === at) button.setAttribute("aria-current", "true");
        else button.removeAttribute("aria-current");
      });
      litForm = at;
    }
    const word = words[at];
    word.fill.style.transform = `scaleX(${sounds ? ((p - word.start) / (word.end - word.start)).toFixed(4) : 0})`;
  };

  // The beat of a bar that is counted in, 0 for none.
  sheet.count = (beat) => {
    const margin = here[0]?.node.querySelector(".margin");
    let shown = margin?.querySelector(".count");
    if (!beat) return shown?.remove();
    if (!shown) margin.append((shown = element("span", { class: "count", "aria-hidden": "true" })));
    if (shown.textContent !== String(beat)) shown.textContent = beat;
  };

  sheet.cursor = (bar) => (cursor = bar);

  // The bars that are chosen to be repeated, -1 for none.
  sheet.choose = (first, last) => {
    chosen = [first, last];
    ready = null;
    markChosen();
  };

  function markChosen(root = document) {
    for (const zone of root.querySelectorAll(".zone")) {
      const bar = Number(zone.dataset.bar);
      const inside = bar >= chosen[0] && bar <= chosen[1];
      zone.classList.toggle("chosen", inside);
      zone.classList.toggle("chosen-first", inside && bar === chosen[0]);
      zone.classList.toggle("chosen-last", inside && bar === chosen[1]);
      zone.setAttribute("aria-pressed", String(inside));
    }
    if (root !== document) return;
    const reach = whole.querySelector(`.zone[data-bar="${cursor}"]`) ?? whole.querySelector(".zone");
    for (const zone of whole.querySelectorAll('.zone[tabindex="0"]')) zone.setAttribute("tabindex", "-1");
    reach?.setAttribute("tabindex", "0");
  }

  // Dragging over bars chooses them; a tap goes to one bar; with Shift the choice reaches to it.
  for (const area of [stage, whole]) {
    let from = -1, to = -1, dragged = false;
    const barAt = (event) => {
      const zone = document.elementFromPoint(event.clientX, event.clientY)?.closest?.(".zone");
      return zone ? Number(zone.dataset.bar) : -1;
    };
    area.addEventListener("pointerdown", (event) => {
      if (event.button) return;
      from = to = barAt(event);
      dragged = false;
    });
    area.addEventListener("pointermove", (event) => {
      if (from < 0 || !event.buttons) return;
      const bar = barAt(event);
      if (bar < 0 || bar === to) return;
      to = bar;
      dragged = true;
      on.choosing(Math.min(from, to), Math.max(from, to));
    });
    const done = () => {
      if (from >= 0 && dragged) on.choose(Math.min(from, to), Math.max(from, to));
      from = -1;
    };
    area.addEventListener("pointerup", done);
    area.addEventListener("pointercancel", done);
    area.addEventListener("click", (event) => {
      const zone = event.target.closest?.(".zone");
      if (!zone || dragged) return;
      const bar = Number(zone.dataset.bar);
      if (event.shiftKey) on.choose(Math.min(bar, cursor), Math.max(bar, cursor));
      else on.jump(bar);
    });
  }
  return sheet;
}
