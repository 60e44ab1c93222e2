// Chord symbols set in type, and how wide they are.

export function element(name, properties = {}, ...children) {
  const node = document.createElement(name);
  for (const [key, value] of Object.entries(properties)) {
    if (key === "class") node.className = value;
    else if (key.startsWith("on")) node.addEventListener(key.slice(2), value);
    else if (value === true) node.setAttribute(key, "");
    else if (value !== false && value !== null && value !== undefined) node.setAttribute(key, value);
  }
  node.append(...children);
  return node;
}

const SIGN = /([♭♯♮𝄫𝄪])/u;
const SIGNS = { "♭": "flat", "♯": "sharp", "♮": "natural", "𝄫": "flat", "𝄪": "cross" };

// Text with its accidentals in the music face.
export function pieces(text) {
  return text.split(SIGN).filter(Boolean).map((t) => (SIGNS[t] ? element("span", { class: `sign ${SIGNS[t]}` }, t) : t));
}

// Root bold, quality on its line, extensions at the height of capitals, alterations in brackets, the bass lower.
export function chordNode(part) {
  if (!part) return element("span", { class: "chord" }, element("span", { class: "quality" }, "N.C."));
  const node = element("span", { class: "chord" }, element("b", {}, part.root));
  const add = (name, ...inside) => node.append(element("span", { class: name }, ...inside));
  if (part.sign) add("root-sign", ...pieces(part.sign));
  if (part.quality) add("quality", ...pieces(part.quality));
  if (part.high) add("high", ...pieces(part.high));
  if (part.alter.length > 2) {
    add("bracket tall", "(");
    add("stack", ...part.alter.map((a) => element("span", {}, ...pieces(a))));
    add("bracket tall", ")");
  } else if (part.alter.length) {
    add("high", "(", ...part.alter.flatMap((a, i) => [...(i ? [" "] : []), ...pieces(a)]), ")");
  }
  if (part.bass) {
    add("stroke", "/");
    add("bass", part.bass, ...pieces(part.bassSign));
  }
  return node;
}

// Widths of symbols in em, measured once each.
export function createRuler() {
  const box = element("div", { class: "ruler", "aria-hidden": "true" });
  document.body.append(box);
  const known = new Map();
  const place = (list) => {
    const nodes = list.map((part) => chordNode(part));
    box.replaceChildren(...nodes);
    nodes.forEach((node, i) => known.set(list[i], node.getBoundingClientRect().width / 100));
    box.replaceChildren();
  };
  const pen = document.createElement("canvas").getContext("2d");
  return {
    words(text, size) {
      pen.font = `${size}px ${getComputedStyle(document.body).fontFamily}`;
      return pen.measureText(text).width;
    },
    learn: (parts) => place(parts.filter((p) => !known.has(p))),
    width(part) {
      if (!known.has(part)) place([part]);
      return known.get(part);
    },
  };
}
