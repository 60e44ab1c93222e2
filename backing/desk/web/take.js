// What can be taken away: each kind is made beside the editor, with its progress, and fetched when it is done.
import { element } from "../page/type.js";
import { plain } from "./drawers.js";

export const KINDS = [
  ["mp3", "the band as MP3"],
  ["pdf", "the sheet as PDF"],
  ["html", "the practice page"],
  ["mid", "MIDI"],
  ["musicxml", "MusicXML"],
  ["lesson", "the whole lesson as ZIP"],
];

export class Take {
  // `wanted()`: { text, name, wish }.
  constructor(line, wanted) {
    Object.assign(this, { line, wanted });
    this.list = element("ul", { class: "files", "aria-live": "polite" });
  }

  fill(node) {
    const row = element("p", { class: "row-of" }, ...KINDS.map(([kind, words]) => plain(words, () => this.begin(kind, words))));
    node.replaceChildren(element("p", { class: "hint" }, "As it is typed now, in the tempo, the key, with the players and the take that the sentence below names."), row, this.list);
  }

  async begin(kind, words) {
    const bar = element("progress", { max: "1", value: "0", "aria-label": words });
    const told = element("span", { class: "soft" }, "beginning");
    const stop = plain("stop", () => this.line.stop(asked.id));
    const row = element("li", {}, element("span", { class: "name" }, words), bar, told, stop);
    this.list.prepend(row);
    const asked = this.line.ask("make", { kind, ...this.wanted() }, (share, doing) => {
      bar.value = share;
      told.textContent = `${Math.round(100 * share)} %, ${doing}`;
    });
    try {
      const { job, files } = await asked;
      const links = files.map((file, n) => element("a", { class: "plain", href: `/taken/${job}/${n}`, download: file }, file));
      row.replaceChildren(element("span", { class: "name" }, words), ...links);
      links[0].click();
    } catch (wrong) {
      row.replaceChildren(element("span", { class: "name" }, words), element("span", {}, `not made: ${wrong.message}`));
    }
  }
}
