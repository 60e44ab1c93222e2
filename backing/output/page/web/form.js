// The form in words, each a button that fills while its section sounds.
import { indexAt } from "./time.js";
import { element } from "./type.js";
import { sectionSaid } from "./speak.js";

export class Form {
  constructor(data, place, jump) {
    this._lit = -1;
    this.words = data.sections.map((section) => {
      const fill = element("i", { class: "gone" });
      const button = element("button", { type: "button", dir: "auto", "aria-label": sectionSaid(data, section), onclick: () => jump(section.first) }, section.name, fill);
      return { button, fill, start: data.bars[section.first].start, end: data.bars[section.last].end, section };
    });
    this.words.forEach(({ button, section }, i) => {
      if (i && section.chorus !== this.words[i - 1].section.chorus) place.append(element("span", { class: "between", "aria-hidden": "true" }, "·"));
      place.append(button);
    });
  }

  show(place, sounds) {
    const at = indexAt(this.words, place);
    if (at !== this._lit) {
      this.words.forEach(({ button, fill }, i) => {
        fill.style.transform = "scaleX(0)";
        if (i === at) button.setAttribute("aria-current", "true");
        else button.removeAttribute("aria-current");
      });
      this._lit = at;
    }
    const word = this.words[at];
    word.fill.style.transform = `scaleX(${sounds ? ((place - word.start) / (word.end - word.start)).toFixed(4) : 0})`;
  }
}
