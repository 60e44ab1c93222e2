// What is typed and not saved, kept in this browser: by folder, chart and tab, so that two tabs on one chart keep theirs apart.
// A draft of a tab that is gone is found again by whichever opens the chart next.
const TAB = "desk tab";
const START = "desk draft";

// This tab's name, for as long as it is open; a tab that was made as a copy of another takes one of its own.
async function own() {
  for (const known of [sessionStorage.getItem(TAB), crypto.randomUUID()]) {
    if (known && (await held(known))) {
      sessionStorage.setItem(TAB, known);
      return known;
    }
  }
  return crypto.randomUUID();
}

// Whether nobody held a tab's name, so that this tab holds it now.
function held(tab) {
  return new Promise((resolve) => {
    navigator.locks.request(`${TAB} ${tab}`, { ifAvailable: true }, (lock) => {
      resolve(lock !== null);
      return lock && new Promise(() => {});
    });
  });
}

async function open() {
  const { held: found } = await navigator.locks.query();
  return new Set(found.map(({ name }) => name));
}

export class Drafts {
  constructor(folder) {
    this.folder = folder;
    this._tab = own();
  }

  async begin() {
    this.tab = await this._tab;
  }

  _key(name, tab = this.tab) {
    return JSON.stringify([START, this.folder, name, tab]);
  }

  // { text, revision } of this tab, else the newest of a tab that is gone; null for none.
  async of(name) {
    const mine = localStorage.getItem(this._key(name));
    if (mine) return JSON.parse(mine);
    const alive = await open();
    const found = [];
    for (const key of Object.keys(localStorage)) {
      if (!key.startsWith(`["${START}"`)) continue;
      const [, folder, chart, tab] = JSON.parse(key);
      if (folder === this.folder && chart === name && !alive.has(`${TAB} ${tab}`)) found.push([key, JSON.parse(localStorage.getItem(key))]);
    }
    const [newest] = found.sort(([, a], [, b]) => b.at - a.at);
    if (!newest) return null;
    localStorage.removeItem(newest[0]);
    localStorage.setItem(this._key(name), JSON.stringify(newest[1]));
    return newest[1];
  }

  keep(name, text, revision) {
    localStorage.setItem(this._key(name), JSON.stringify({ text, revision, at: Date.now() }));
  }

  drop(name) {
    localStorage.removeItem(this._key(name));
  }
}
