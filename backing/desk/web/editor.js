// The editor: the chart's text with its colours and mistakes, which answer one revision of it and are moved by what was
// typed since then.
import {
  Compartment, Decoration, EditorState, EditorView, StateEffect, StateField, autocompletion, completionKeymap, defaultKeymap,
  drawSelection, highlightSpecialChars, history, historyKeymap, hoverTooltip, isolateHistory, keymap, setDiagnostics, undo,
} from "./vendor/codemirror.js";

const ink = (values) => ({ ...values });
const LOOK = EditorView.theme({
  "&": { height: "100%", fontSize: "16px", color: "var(--ink)", backgroundColor: "var(--paper)" },
  "&.cm-focused": { outline: "none" },
  ".cm-scroller": { fontFamily: "ui-monospace, SFMono-Regular, Menlo, Consolas, 'DejaVu Sans Mono', monospace", lineHeight: "1.6", padding: "8px 0" },
  ".cm-content": { padding: "0 var(--edge)", caretColor: "var(--ink)" },
  ".cm-cursor": { borderLeftColor: "var(--ink)", borderLeftWidth: "2px" },
  "&.cm-focused > .cm-scroller > .cm-selectionLayer .cm-selectionBackground, .cm-selectionBackground": { background: "color-mix(in srgb, var(--ink) 20%, transparent) !important" },
  ".t-comment": ink({ color: "var(--soft)", fontStyle: "italic" }),
  ".t-heading": ink({ fontWeight: "700", outline: "1.5px solid var(--ink)", outlineOffset: "0px" }),
  ".t-name, .t-bar, .t-sign": ink({ color: "var(--soft)" }),
  ".t-chord": ink({ fontWeight: "700" }),
  ".t-direction": ink({ fontStyle: "italic" }),
  ".cm-lintRange": { backgroundImage: "none", paddingBottom: "0" },
  ".cm-lintRange-error": { textDecoration: "underline wavy var(--now)", textDecorationSkipInk: "none", textUnderlineOffset: "4px" },
  ".cm-lintRange-warning": { textDecoration: "underline dotted 2px var(--soft)", textUnderlineOffset: "4px" },
  ".cm-lintPoint:after": { display: "none" },
  ".cm-tooltip": { backgroundColor: "var(--paper)", color: "var(--ink)", border: "1.5px solid var(--ink)", maxWidth: "min(34em, 92vw)" },
  ".cm-diagnostic": { borderLeft: "0", padding: "8px 12px", font: "15px/1.45 Chart, Signs, sans-serif" },
  ".cm-diagnosticAction": { background: "none", color: "var(--ink)", textDecoration: "underline", textUnderlineOffset: "4px", font: "inherit", padding: "10px 4px", margin: "0 8px 0 0" },
  ".cm-tooltip.cm-tooltip-autocomplete > ul": { fontFamily: "inherit", fontSize: "15px", maxHeight: "14em" },
  ".cm-tooltip.cm-tooltip-autocomplete > ul > li": { padding: "6px 10px", color: "var(--ink)" },
  ".cm-tooltip-autocomplete ul li[aria-selected]": { background: "var(--ink)", color: "var(--paper)" },
  ".cm-completionDetail": { fontStyle: "normal", color: "inherit", opacity: ".75", marginLeft: "1em" },
  ".sign": { fontFamily: "Signs", lineHeight: "0" },
  ".sign.flat": { fontSize: "1.24em" },
  ".sign.sharp": { position: "relative", top: "-.17em" },
  ".plain": { background: "none", border: "0", color: "inherit", font: "inherit", textDecoration: "underline", textUnderlineOffset: "4px", minHeight: "44px", cursor: "pointer", padding: "4px 2px" },
  ".cm-diagnostic p": { margin: "0" },
  ".cm-completionMatchedText": { textDecoration: "none", fontWeight: "700" },
});

const coloured = StateEffect.define();
const marked = StateEffect.define();

const colours = StateField.define({
  create: () => Decoration.none,
  update(found, transaction) {
    found = found.map(transaction.changes);
    for (const effect of transaction.effects) if (effect.is(coloured)) found = effect.value;
    return found;
  },
  provide: (field) => EditorView.decorations.from(field),
});

const moved = (mark, changes) => ({
  ...mark,
  from: changes.mapPos(mark.from, 1),
  to: Math.max(changes.mapPos(mark.from, 1), changes.mapPos(mark.to, -1)),
  fixes: mark.fixes.map((fix) => ({ ...fix, from: changes.mapPos(fix.from, fix.from === fix.to ? -1 : 1), to: changes.mapPos(fix.to, -1) })).filter((fix) => fix.from <= fix.to),
});

// What is wrong where, with what mends it, at its present place.
export const mistakes = StateField.define({
  create: () => [],
  update(found, transaction) {
    if (transaction.docChanged) found = found.map((mark) => moved(mark, transaction.changes));
    for (const effect of transaction.effects) if (effect.is(marked)) found = effect.value;
    return found;
  },
});

export function mend(view, fix) {
  view.dispatch({ changes: { from: fix.from, to: fix.to, insert: fix.insert }, userEvent: "input.mend", annotations: isolateHistory.of("full") });
  view.focus();
}

// `on`: changed(text), cursor(state), complete(context), hover(view, at), keys.
export class Editor {
  constructor(place, on) {
    this.on = on;
    this._pending = { look: new Map(), draw: new Map() }; // of each ask, by revision: what was typed since
    this._editable = new Compartment();
    const root = place.attachShadow({ mode: "open" });
    this.view = new EditorView({ parent: root, root, state: this._state("") });
  }

  _state(text) {
    return EditorState.create({
      doc: text,
      extensions: [
        history(), drawSelection(), highlightSpecialChars(), EditorView.lineWrapping, colours, mistakes, LOOK,
        this._editable.of(EditorView.editable.of(true)),
        autocompletion({ override: [this.on.complete], icons: false, activateOnTyping: true }),
        hoverTooltip(this.on.hover, { hoverTime: 350 }),
        EditorView.contentAttributes.of({ "aria-label": "Chart", tabindex: "0", spellcheck: "false", autocapitalize: "off", autocorrect: "off" }),
        keymap.of([...this.on.keys, ...completionKeymap, ...historyKeymap, ...defaultKeymap]),
        EditorView.updateListener.of((update) => this._updated(update)),
      ],
    });
  }

  get text() {
    return this.view.state.doc.toString();
  }

  get selection() {
    return this.view.state.selection.main;
  }

  // Another chart, with a history of its own.
  open(text) {
    for (const asked of Object.values(this._pending)) asked.clear();
    this.view.setState(this._state(text));
    this.on.changed(text);
    this.on.cursor(this.view.state);
  }

  // The text as it is now is asked about; what is typed from now on moves the places of the answer.
  asked(what, revision) {
    this._pending[what].set(revision, this.view.state.changes([]));
  }

  // What was typed since a revision was asked about, null where nobody waits for it any more.
  _since(what, revision) {
    const asked = this._pending[what];
    const since = asked.get(revision) ?? null;
    if (since) for (const known of [...asked.keys()]) if (known <= revision) asked.delete(known);
    return since;
  }

  // How places of a revision are moved, null where nobody waits for it any more.
  moved(what, revision) {
    const since = this._since(what, revision);
    return since && ((place) => since.mapPos(place, 1));
  }

  _updated(update) {
    if (update.docChanged) {
      for (const asked of Object.values(this._pending)) for (const [revision, since] of asked) asked.set(revision, since.compose(update.changes));
      this.on.changed(this.text);
    }
    if (update.docChanged || update.selectionSet) this.on.cursor(update.state, update.docChanged);
  }

  // What was seen in a revision; returns whether anybody still waits for it.
  receive({ revision, marks, tokens }) {
    const since = this._since("look", revision);
    if (!since) return false;
    const here = marks.map((mark) => moved(mark, since));
    const range = ([from, to, kind]) => {
      const [a, b] = [since.mapPos(from, 1), since.mapPos(to, -1)];
      return a < b ? [Decoration.mark({ class: `t-${kind}` }).range(a, b)] : [];
    };
    this.view.dispatch({ effects: [coloured.of(Decoration.set(tokens.flatMap(range), true)), marked.of(here)] });
    this.view.dispatch(setDiagnostics(this.view.state, here.map((mark, n) => this._shown(mark, n))));
    return true;
  }

  _shown(mark, n) {
    const words = mark.hint ? `${mark.message} – ${mark.hint}` : mark.message;
    const actions = mark.fixes.map((fix, i) => ({
      name: fix.label,
      apply: (view) => {
        const now = view.state.field(mistakes)[n]?.fixes[i];
        if (now) mend(view, now);
      },
    }));
    return { from: mark.from, to: mark.to, severity: mark.severity, message: words, actions };
  }

  undo() {
    undo(this.view);
  }

  // Put the cursor somewhere and show it.
  go(at, { focus = true } = {}) {
    this.view.dispatch({ selection: { anchor: Math.max(0, Math.min(at, this.view.state.doc.length)) }, scrollIntoView: true });
    if (focus) this.view.focus();
  }

  // Change the text as one step that can be undone.
  change(changes) {
    this.view.dispatch({ changes, userEvent: "input", annotations: isolateHistory.of("full") });
  }
}
