// The controls: one sentence whose words are buttons, each opening what it changes.
import { element, pieces } from "./rows.js";
import { CLICKS, COUNTS, bandWords, barName, rangeWords, sectionSaid, stepWords } from "./speak.js";

const STEPS = [0, 1, 2, 3, 5, 10];
export const SLOWEST = 40;
export const FASTEST = 130;

export function createControls(data, state, places, on) {
  const { sentence, drawer } = places;
  let open = "";
  const drawers = {};
  const buttons = {};
  const refresh = []; // what to do when the state has changed

  const play = element("button", { type: "button", id: "play", class: "word play", onclick: on.toggle }, "Play");
  sentence.append(play);
  const own = data.countInBars;
  const counts = own > 2 ? [...COUNTS, [own, `${own} bars counted in`, `${own} bars`]] : COUNTS;
  const units = [];
  const word = (name, lead, about, text, comma = true) => {
    const said = element("span");
    const button = element(
      "button",
      { type: "button", class: "word", id: `word-${name}`, "aria-expanded": "false", "aria-controls": `drawer-${name}`, onclick: () => toggle(name) },
      said,
      element("span", { class: "unseen" }, `: ${about}`),
    );
    const stop = element("span");
    const unit = element("span", { class: "unit" }, lead, button, stop);
    sentence.append(" ", unit);
    buttons[name] = button;
    units.push({ unit, stop, comma });
    refresh.push(() => said.replaceChildren(...pieces(text())));
    return unit;
  };
  word("range", "", "which bars", () => rangeWords(data, state), false);
  word("tempo", "at ", "tempo", () => `${state.pace || state.percent} %`, false); // the pace of this pass
  word("key", "in ", "key", () => data.keys[state.shift + 6]);
  word("band", "", "who plays, and how loud", () => {
    const words = bandWords(data, state);
    return words.startsWith("without") ? words : `with ${words}`;
  });
  word("click", "", "click", () => CLICKS.find(([name]) => name === state.manner)[1]);
  word("count", "", "count-in", () => counts.find(([bars]) => bars === state.countIn)[1]);
  const step = word("step", "", "faster after each pass", () => stepWords(state));
  refresh.push(() => {
    step.hidden = !state.loop;
    const seen = units.filter(({ unit }) => !unit.hidden);
    seen.forEach(({ stop, comma }, i) => (stop.textContent = i === seen.length - 1 ? "." : comma ? "," : ""));
    play.textContent = state.playing ? "Stop" : "Play";
  });

  function panel(name, title, ...children) {
    const node = element("div", { id: `drawer-${name}`, role: "group", "aria-label": title, hidden: true }, ...children);
    drawers[name] = node;
    drawer.append(node);
  }

  function toggle(name) {
    open = open === name ? "" : name;
    for (const [key, node] of Object.entries(drawers)) {
      node.hidden = key !== open;
      buttons[key].setAttribute("aria-expanded", String(key === open));
    }
    if (open) drawers[open].querySelector("input,select,button")?.focus({ preventScroll: true });
    on.resized();
  }

  const plain = (text, action, properties = {}) => element("button", { type: "button", class: "plain", onclick: action, ...properties }, text);

  function choices(name, title, list, current, choose) {
    const set = element("fieldset", { class: "choices" }, element("legend", {}, title));
    list.forEach(([value, text, said]) => {
      const input = element("input", { type: "radio", name, value: String(value), onchange: () => choose(value) });
      if (said) input.setAttribute("aria-label", said);
      set.append(element("label", {}, input, element("span", {}, ...pieces(text))));
      refresh.push(() => (input.checked = current() === value));
    });
    return set;
  }

  function slider(label, low, high, stepBy, said, current, change) {
    const input = element("input", { type: "range", min: low, max: high, step: stepBy, "aria-label": label });
    input.addEventListener("input", () => change(Number(input.value)));
    refresh.push(() => {
      input.value = String(current());
      input.setAttribute("aria-valuetext", said());
    });
    return input;
  }

  // Which bars.
  const options = () => data.bars.map((bar, i) => {
    const section = data.sections[bar.section];
    return element("option", { value: i }, `${barName(data, i)}${section.name ? ` (${sectionSaid(data, section)})` : ""}`);
  });
  const first = element("select", { "aria-label": "First bar", onchange: () => on.choose(Number(first.value), Math.max(Number(first.value), state.last)) }, ...options());
  const last = element("select", { "aria-label": "Last bar", onchange: () => on.choose(Math.min(Number(last.value), state.first), Number(last.value)) }, ...options());
  refresh.push(() => {
    first.value = String(state.loop ? state.first : state.bar);
    last.value = String(state.loop ? state.last : data.bars.length - 1);
  });
  panel(
    "range", "Which bars",
    element("p", {}, element("label", {}, "From bar ", first), " ", element("label", {}, "to bar ", last)),
    element("p", { class: "row-of" },
      plain("The whole tune once", () => on.wholeTune()),
      plain("This section again and again", () => on.thisSection()),
      plain("Everything again and again", () => on.choose(0, data.bars.length - 1))),
    element("p", { class: "hint" }, "Or drag over the bars."),
  );

  // Tempo.
  const bpm = element("output", { class: "figure" });
  refresh.push(() => bpm.replaceChildren(...pieces(`${data.beat.sign} = ${Math.round((data.beat.bpm * state.percent) / 100)}`)));
  panel(
    "tempo", "Tempo",
    element("p", { class: "slide" },
      plain("Slower", () => on.tempo(state.percent - 5)),
      slider("Tempo in percent", SLOWEST, FASTEST, 1, () => `${state.percent} percent`, () => state.percent, (v) => on.tempo(v)),
      plain("Faster", () => on.tempo(state.percent + 5))),
    element("p", { class: "row-of" }, bpm, ...[50, 60, 70, 80, 90, 100].map((v) => plain(`${v} %`, () => on.tempo(v)))),
  );

  // Key.
  panel("key", "Key", choices("key", "Key", data.keys.map((key, i) => [i - 6, key, `${key.replace("♭", " flat").replace("♯", " sharp")}, ${shiftSaid(i - 6)}`]), () => state.shift, on.key));

  // Who plays.
  const band = data.players.map((player) => playerRow(player.role, player.name));
  panel(
    "band", "Who plays, and how loud",
    element("div", { class: "mix" }, ...band, playerRow("click", "")),
    element("p", { class: "hint" }, "Keep headphones low enough to talk over, rest your ears now and then, and stop if they ring. A loud click needs no headphones."),
  );
  function playerRow(role, name) {
    const one = state.players[role];
    const mute = element("input", { type: "checkbox", "aria-label": `${role} plays`, onchange: () => on.mute(role, !mute.checked) });
    refresh.push(() => (mute.checked = !one.silent));
    const level = slider(`Level of ${role}`, -24, 6, 1, () => `${one.db} decibels`, () => one.db, (v) => on.level(role, v));
    const db = element("output", { class: "figure" });
    refresh.push(() => (db.textContent = one.silent ? "silent" : `${one.db > 0 ? "+" : one.db < 0 ? "−" : ""}${Math.abs(one.db)} dB`));
    const only = role === "click" ? "" : plain("only", () => on.only(role), { "aria-label": `only ${role}, or everyone` });
    return element("div", { class: "player" }, element("label", { class: "who" }, mute, element("span", {}, role), element("small", {}, name === role ? "" : name)), level, db, only);
  }

  panel("click", "Click", choices("click", "Click", CLICKS.map(([value, , text]) => [value, text]), () => state.manner, on.click));
  panel("count", "Count-in", choices("count", "Count-in, each time", counts.map(([value, , text]) => [value, text]), () => state.countIn, on.count));
  panel(
    "step", "Faster after each pass",
    choices("step", "Faster after each pass by", STEPS.map((v) => [v, v ? `${v} %` : "nothing"]), () => state.step, on.step),
    choices("top", "but no faster than", [80, 90, 100, 110, 120, 130].map((v) => [v, `${v} %`]), () => state.top, on.top),
  );

  document.addEventListener("keydown", (event) => {
    if (event.key === "Escape" && open) {
      const back = buttons[open];
      toggle(open);
      back.focus();
    }
  });

  const controls = { update: () => refresh.forEach((act) => act()), play };
  controls.update();
  return controls;
}

function shiftSaid(shift) {
  if (!shift) return "as written";
  return `${Math.abs(shift)} semitone${Math.abs(shift) > 1 ? "s" : ""} ${shift > 0 ? "up" : "down"}`;
}
