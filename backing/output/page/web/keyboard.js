// The keys of the keyboard, and the list of them.
import { element } from "./type.js";

export const HELP = [
  ["Space, K", "play and stop"],
  ["← →", "a bar back, a bar on"],
  ["↑ ↓", "5 % faster, 5 % slower"],
  ["+ −", "a semitone up, a semitone down"],
  ["[ ]", "the first and the last bar to repeat"],
  ["0", "the whole tune again"],
  ["1 to 9", "a player plays or is silent, in the order of the list"],
  ["C", "click on and off"],
  ["M", "melody on and off"],
  ["G", "grips on and off"],
  ["H", "another grip of the chord"],
  ["F", "frets, as tab, on and off"],
  ["D", "swap ink and paper"],
  ["Home", "back to the first bar"],
  ["?", "this list"],
  ["Esc", "close what is open"],
];

export function helpDialog() {
  const rows = HELP.flatMap(([keys, does]) => [element("dt", {}, keys), element("dd", {}, does)]);
  const close = element("button", { type: "button", class: "plain" }, "Close");
  const dialog = element("dialog", { id: "help", "aria-labelledby": "help-title" }, element("h2", { id: "help-title" }, "Keys"), element("dl", {}, ...rows), close);
  close.addEventListener("click", () => dialog.close());
  document.body.append(dialog);
  return dialog;
}

// Whether a key that is pressed on an element belongs to that element.
function taken(key, target) {
  if (target.matches?.("select,dialog,dialog *")) return true;
  const moves = key === " " ? target.type !== "range" : key.startsWith("Arrow") || key === "Home";
  if (moves && target.matches?.("input")) return true;
  return key === " " && Boolean(target.matches?.("button:not(.zone),summary,a"));
}

// `acts` by key; letters in lower case.
export function listen(acts) {
  addEventListener("keydown", (event) => {
    if (event.ctrlKey || event.metaKey || event.altKey || event.isComposing || taken(event.key, event.target)) return;
    const act = acts[event.key.length === 1 ? event.key.toLowerCase() : event.key];
    if (!act) return;
    event.preventDefault();
    act();
  });
}
