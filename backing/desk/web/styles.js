// The drawer of styles: all of them in the order of `backing styles`, each with what it is, to be heard and to be used.
import { element } from "../page/type.js";
import { plain } from "./drawers.js";

// `on`: hear(style) or null, use(style).
export function fillStyles(node, styles, current, on) {
  const find = element("input", { type: "text", "aria-label": "Find a style", autocomplete: "off", placeholder: "swing, 3/4, slow …" });
  const list = element("div", { class: "styles" });
  const fill = () => {
    const words = find.value.toLowerCase().split(/\s+/).filter(Boolean);
    const fit = styles.filter(({ name, about, heading }) => words.every((word) => `${name} ${about} ${heading}`.toLowerCase().includes(word)));
    const groups = Map.groupBy ? Map.groupBy(fit, (style) => style.heading) : grouped(fit);
    list.replaceChildren(...[...groups].flatMap(([heading, inside]) => [element("h2", {}, heading), element("ul", {}, ...inside.map((style) => row(style, current, on)))]));
    if (!fit.length) list.replaceChildren(element("p", { class: "hint" }, "No style fits these words."));
  };
  find.addEventListener("input", fill);
  node.replaceChildren(element("label", {}, "Find ", find), list);
  fill();
}

function row({ name, about, tempo }, current, on) {
  const buttons = [plain("use it", () => on.use(name), { "aria-label": `use ${name}` })];
  if (on.hear) buttons.unshift(plain("hear", () => on.hear(name), { "aria-label": `hear ${name}` }));
  return element("li", name === current ? { "aria-current": "true" } : {}, element("span", { class: "name" }, name), element("span", { class: "about" }, `${about} ${tempo} beats a minute.`), ...buttons);
}

function grouped(styles) {
  const found = new Map();
  for (const style of styles) found.set(style.heading, [...(found.get(style.heading) ?? []), style]);
  return found;
}
