// What is asked of the desk: over HTTP about the folder, over one WebSocket while somebody types.

// Raises Error with the sentence of what was wrong.
export async function folder(path, told) {
  const options = told ? { method: "POST", headers: { "content-type": "application/json" }, body: JSON.stringify(told) } : {};
  let answer;
  try {
    answer = await fetch(path, options);
  } catch {
    throw new Error("the desk does not answer; it may have been closed");
  }
  const found = await answer.json().catch(() => ({ failed: "the desk does not know this page any more; open the address that it printed" }));
  if (found.failed) throw new Error(found.failed);
  return found;
}

// Asks with a number each; a line that breaks is taken up again, and what waited is told so.
export class Line {
  constructor(onState) {
    this.onState = onState;
    this._number = 0;
    this._waiting = new Map();
    this._unsent = [];
    this._open();
  }

  _open() {
    const socket = new WebSocket(`ws://${location.host}/edit`);
    this._socket = socket;
    socket.onopen = () => {
      this.onState(true);
      for (const text of this._unsent.splice(0)) socket.send(text);
    };
    socket.onmessage = ({ data }) => this._take(JSON.parse(data));
    socket.onclose = () => {
      this.onState(false);
      for (const { reject } of this._waiting.values()) reject(new Error("the desk does not answer; it may have been closed"));
      this._waiting.clear();
      if (!this.ended) setTimeout(() => this._open(), 1000);
    };
  }

  _take(said) {
    const one = this._waiting.get(said.id);
    if (!one) return;
    if ("share" in said) return one.told?.(said.share, said.words);
    this._waiting.delete(said.id);
    if ("failed" in said) one.reject(new Error(said.failed));
    else one.resolve(said.answer);
  }

  // A promise of the answer, with the number of the ask as `id`.
  ask(todo, what = {}, told = null) {
    const id = ++this._number;
    const promise = new Promise((resolve, reject) => this._waiting.set(id, { resolve, reject, told }));
    this._send(JSON.stringify({ id, do: todo, ...what }));
    promise.id = id;
    return promise;
  }

  // The job of an ask is wanted no more.
  stop(id) {
    this._send(JSON.stringify({ id: ++this._number, do: "stop", job: id }));
  }

  _send(text) {
    if (this._socket.readyState === WebSocket.OPEN) this._socket.send(text);
    else this._unsent.push(text);
  }
}
