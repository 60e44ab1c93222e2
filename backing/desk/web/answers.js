// The drawer of chords for a melody: answers for the `?` places, ranked, with their reasons; one writes itself into the text.
import { element } from "../page/type.js";
import { plain } from "./drawers.js";

// `on`: ask() a promise of { answers, assumed }, hear(text) or null, write(changes).
export async function fillAnswers(node, on) {
  node.replaceChildren(element("p", { class: "hint" }, "Looking for chords …"));
  let found;
  try {
    found = await on.ask();
  } catch (wrong) {
    node.replaceChildren(element("p", {}, `None could be looked for: ${wrong.message}`));
    return;
  }
  const parts = found.assumed.map((words) => element("p", { class: "hint" }, `${words[0].toUpperCase()}${words.slice(1)}; write  key:  to say another.`));
  node.replaceChildren(...parts, ...found.answers.map((answer) => block(answer, on)));
}

function block({ rank, key, lines, text, changes, chords }, on) {
  const reasons = element("dl", {}, ...chords.flatMap(({ place, symbol, why }) => [element("dt", {}, place), element("dd", {}, element("b", {}, symbol)), element("dd", {}, why.join("; "))]));
  const row = element("p", { class: "row-of" }, element("b", {}, `${rank}. in ${key}`));
  if (on.hear) row.append(plain("hear", () => on.hear(text), { "aria-label": `hear answer ${rank}` }));
  row.append(plain("write it", () => on.write(changes), { "aria-label": `write answer ${rank} into the chart` }));
  return element("div", { class: "answer" }, row, element("pre", {}, lines.join("\n")), element("details", {}, element("summary", {}, "why these chords"), reasons));
}
