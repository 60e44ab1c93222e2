// What the desk takes of the editor's library.
export { Annotation, Compartment, EditorSelection, EditorState, RangeSetBuilder, StateEffect, StateField, Transaction } from "@codemirror/state";
export { Decoration, EditorView, drawSelection, highlightSpecialChars, hoverTooltip, keymap, placeholder } from "@codemirror/view";
export { defaultKeymap, history, historyKeymap, isolateHistory, redo, undo } from "@codemirror/commands";
export { lintKeymap, nextDiagnostic, setDiagnostics } from "@codemirror/lint";
export { autocompletion, completionKeymap, startCompletion } from "@codemirror/autocomplete";
