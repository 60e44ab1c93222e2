// The folder: which chart is open, and what of it is saved.
import { folder as ask } from "./ask.js";
import { Drafts } from "./drafts.js";

const LATEST = "desk latest";

export class Files {
  // `on`: opened(text, words), saved(words).
  constructor(on) {
    this.on = on;
    this.name = "";
    this.revision = "";
    this.disk = ""; // the text as it lies on the disk
  }

  async list() {
    this.found = await ask("/charts");
    this.drafts ??= new Drafts(this.folder);
    await this.drafts.begin();
    return this.found;
  }

  get folder() {
    return this.found?.folder ?? "";
  }

  // The chart that was open last, or the first; null where there is none.
  usual() {
    const named = decodeURIComponent(location.hash.slice(1));
    const there = (name) => this.found.charts.some((one) => one.name === name);
    const latest = localStorage.getItem(`${LATEST} ${this.folder}`);
    return [named, latest].find(there) ?? this.found.charts[0]?.name ?? null;
  }

  async open(name) {
    const found = await ask(`/charts/open?name=${encodeURIComponent(name)}`);
    const draft = await this.drafts.of(name);
    this._now(found.name, found.text, draft?.revision ?? found.revision);
    if (draft && draft.text !== found.text) {
      const words = draft.revision === found.revision ? "What you had typed and not saved is here again." : "What you had typed and not saved is here again; the file has been changed by another program meanwhile.";
      return this.on.opened(draft.text, words);
    }
    this.revision = found.revision;
    this.drafts.drop(name);
    this.on.opened(found.text, "");
  }

  // As it lies on the disk; what was typed since is gone.
  async again() {
    this.drafts.drop(this.name);
    await this.open(this.name);
  }

  _now(name, text, revision) {
    Object.assign(this, { name, disk: text, revision });
    localStorage.setItem(`${LATEST} ${this.folder}`, name);
    history.replaceState(null, "", `#${encodeURIComponent(name)}`);
  }

  get known() {
    return Boolean(this.name);
  }

  changed(text) {
    return text !== this.disk;
  }

  // Keep what is typed until it is saved.
  keep(text) {
    if (!this.known) return;
    if (this.changed(text)) this.drafts.keep(this.name, text, this.revision);
    else this.drafts.drop(this.name);
  }

  async save(text) {
    const before = this.name;
    const { name, revision, beside } = await ask("/charts/save", { name: before, text, revision: this.revision });
    this.drafts.drop(before);
    this._now(name, text, revision);
    await this.list();
    this.on.saved(beside ? `Another program has changed ${beside} meanwhile. That is left as it is; what you typed here is kept in ${name}.` : `${name} is saved.`);
  }

  // A new chart, with a text or to be typed over.
  async begin(name, text) {
    const made = await ask("/charts/new", text.trim() ? { name, text } : { name });
    await this.list();
    await this.open(made.name);
  }

  async rename(to, text) {
    const old = this.name;
    const { name } = await ask("/charts/rename", { name: old, to });
    this.drafts.drop(old);
    this._now(name, this.disk, this.revision);
    this.keep(text);
    await this.list();
    this.on.saved(`It is named ${name} now.`);
  }

  async remove(name) {
    await ask("/charts/delete", { name });
    await this.list();
  }

  async restore(name) {
    const back = await ask("/charts/restore", { name });
    await this.list();
    return back.name;
  }
}
