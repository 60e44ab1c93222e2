// The drawer of the folder: open, begin, name anew, delete and take back.
import { element } from "../page/type.js";
import { plain } from "./drawers.js";

const bare = (name) => name.replace(/\.txt$/i, "");

function asking(label, value, button, act) {
  const input = element("input", { type: "text", "aria-label": label, value, autocomplete: "off", spellcheck: "false" });
  const form = element("form", { class: "row-of" }, element("label", {}, label, input), element("button", { class: "plain" }, button));
  form.addEventListener("submit", (event) => {
    event.preventDefault();
    act(input.value);
  });
  return form;
}

// `on`: open(name), begin(name), rename(name), remove(), restore(name), again(), changed().
export function fillShelf(node, files, on) {
  const rows = files.found.charts.map(({ name, title }) =>
    element("li", {}, plain(bare(name), () => on.open(name), { class: "plain name", ...(name === files.name ? { "aria-current": "true" } : {}) }), element("span", { class: "soft", dir: "auto" }, title)));
  const parts = [
    asking("A new chart named ", "", "begin it", on.begin),
    element("h2", {}, `Charts in ${files.folder}`),
    rows.length ? element("ul", { class: "files" }, ...rows) : element("p", { class: "hint" }, "There is none yet."),
  ];
  if (files.known) {
    parts.push(asking("This one is named ", bare(files.name), "name it so", on.rename));
    const row = element("p", { class: "row-of" }, plain(`put ${bare(files.name)} into the bin`, on.remove));
    if (on.changed()) row.append(plain("go back to what is saved", on.again));
    parts.push(row);
  }
  if (files.found.bin.length) {
    parts.push(element("h2", {}, "In the bin"), element("ul", { class: "files" }, ...files.found.bin.map(({ name }) => element("li", {}, element("span", { class: "name" }, bare(name)), plain("take it back", () => on.restore(name), { "aria-label": `take ${bare(name)} back` })))));
  }
  node.replaceChildren(...parts);
}
