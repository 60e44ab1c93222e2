// A chord under the pointer or the cursor: its notes, degrees and grips, and how it sounds.
import { element, pieces } from "../page/type.js";
import { gripNode } from "../page/grips.js";

const GRIPS = 3;
const signs = (text) => text.replace(/([A-G])(b+|#+)/g, (_, letter, sign) => letter + sign.replaceAll("bb", "𝄫").replaceAll("b", "♭").replaceAll("##", "𝄪").replaceAll("#", "♯"));

// The chord symbol that a place of the text lies in, null for none: { from, to, symbol }.
export function chordAt(state, at) {
  const line = state.doc.lineAt(at);
  const comment = line.text.search(/(^|\s)#(\s|$)/);
  if (!/^\s*(\||:\|)/.test(line.text) || (comment >= 0 && at - line.from > comment)) return null;
  for (const found of line.text.matchAll(/"[^"]*"|<?([A-G][^\s|"]*)/g)) {
    const from = line.from + found.index + (found[0][0] === "<" ? 1 : 0), to = line.from + found.index + found[0].length;
    if (from > at || to < at || !found[1]) continue;
    const symbol = found[1].replace(/\[[^\]]*\]?/, "").replace(/[!=]+$/, "");
    const open = (symbol.match(/\(/g) ?? []).length, shut = (symbol.match(/\)/g) ?? []).length;
    return { from, to, symbol: shut > open ? symbol.replace(/\)+$/, "") : symbol };
  }
  return null;
}

let shown = matchMedia("(min-width: 1000px)").matches; // whether grips are open, as they were last

function gripsNode(grips) {
  const node = element("details", { open: shown }, element("summary", {}, "grips"), element("div", { class: "grips" }, ...grips));
  node.addEventListener("toggle", () => (shown = node.open));
  return node;
}

// What is told of it; `play` strikes it, null where nothing can sound.
export function chordNodes(told, play) {
  if (told.error) return [element("p", {}, told.error.message)];
  const notes = `${told.notes.map(signs).join(" ")} (${told.degrees.map((degree) => degree.replaceAll("b", "♭").replaceAll("#", "♯")).join(" ")})`;
  const words = element("p", { class: "row-of" }, element("span", {}, element("b", {}, ...pieces(signs(told.symbol))), " ", ...pieces(notes)));
  if (play) words.append(element("button", { type: "button", class: "plain", onclick: play }, "hear it"));
  const grips = (told.grips ?? []).slice(0, GRIPS).map(({ frets }) => gripNode(frets.map((fret) => fret ?? -1)));
  return grips.length ? [words, gripsNode(grips)] : [words];
}
