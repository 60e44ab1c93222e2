// What can stand where the cursor is: settings at the start of a line, values behind them, directions in quotes, chords.
const ROOTS = /^[A-G][#b]?/;
const SIGNS = ["|: ", ":|", "| % |", "N.C."];

const option = (label, detail = "", apply = label) => ({ label, detail, apply });

function atStart(words) {
  const settings = words.settings.map(({ name, example }) => option(`${name}:`, example.slice(name.length + 1).trim().split("  ")[0], `${name}: `));
  const under = words.under.map((name) => option(`${name}:`, "under the bars above", `${name}: | `));
  return [...settings, ...under, ...words.headings.map((name) => option(`[${name}]`, "a section"))];
}

function valuesOf(words, name) {
  if (name === "style") return words.styles.map((style) => option(style.name, style.heading));
  if (name === "key") return words.keys.map((key) => option(key));
  return (words.values[name] ?? []).map((value) => option(value));
}

// Where it begins and what fits, null where nothing does. `before` is the line up to the cursor.
export function fitting(words, before, asked) {
  const setting = before.match(/^\s*([a-z][a-z -]*):[ \t]*(.*)$/i);
  const music = /^\s*(\||:\||melody:|hits:|kicks:)/i.test(before);
  if (music) {
    const quoted = before.match(/"([^"|]*)$/);
    if (quoted && (before.match(/"/g) ?? []).length % 2) return { text: quoted[1], options: words.directions.map((name) => option(name, "", `${name}"`)) };
    const word = before.match(/(?:^|[\s|(<])([A-G][^\s|()"]*)$/)?.[1] ?? "";
    const root = word.match(ROOTS)?.[0];
    if (root && /^\s*(\||:\|)/.test(before)) return { text: word, options: words.qualities.map((quality) => option(root + quality)) };
    return asked ? { text: "", options: SIGNS.map((sign) => option(sign)) } : null;
  }
  if (setting) {
    const options = valuesOf(words, setting[1].trim().toLowerCase());
    const tail = setting[1].trim() === "players" ? setting[2].match(/[^,]*$/)[0].trimStart() : setting[2];
    return options.length ? { text: tail, options } : null;
  }
  const word = before.match(/^\s*(\[?[\w -]*)$/)?.[1];
  return word !== undefined && (word || asked) ? { text: word, options: atStart(words) } : null;
}

// As the editor asks for it.
export const completer = (wordsOf) => (context) => {
  const words = wordsOf();
  const line = context.state.doc.lineAt(context.pos);
  const found = words && fitting(words, line.text.slice(0, context.pos - line.from), context.explicit);
  return found ? { from: context.pos - found.text.length, options: found.options, validFor: /^[\w#:\[\]() -]*$/ } : null;
};
