// What a page hears of the band: chunks of a generation in order, from the page's own thread for sound.
//
// In: { generation, sound: Float32Array of pairs } | { generation } (drop what is older) | { rest: generation }.
// Out, some 40 times a second: { generation, played, delivered, ahead, gaps, gapFrames, longestGap } in frames, and for how
// long it waited at most in { longestWait }, in ms by the clock: what plays nowhere may ask for a second at once.
const START = 2048; // frames that lie ready before a generation begins, 46 ms
const FADE = 256; // frames over which sound goes where it would break off
const REPORT = 1024; // frames between two reports

class Player extends AudioWorkletProcessor {
  constructor() {
    super();
    this.generation = 0;
    this.delivered = 0; // of all generations
    this.gaps = this.gapFrames = this.longestGap = this.longestWait = 0;
    this.left = this.right = 0; // what was last heard
    this.since = 0;
    this.clear(0);
    this.port.onmessage = ({ data }) => this.take(data);
  }

  clear(generation) {
    this.generation = generation;
    this.chunks = [];
    this.at = 0; // in the first chunk
    this.ahead = 0;
    this.played = 0;
    this.begun = false;
    this.resting = false;
    this.gap = 0;
  }

  take({ generation, sound, rest }) {
    if (rest !== undefined) {
      if (rest === this.generation) this.resting = true;
      return;
    }
    if (generation < this.generation) return; // it is too late
    if (generation > this.generation) this.clear(generation);
    if (!sound) return;
    this.resting = false;
    this.chunks.push(sound);
    this.ahead += sound.length / 2;
    this.delivered += sound.length / 2;
  }

  process(_, [[left, right]]) {
    if (!this.begun && (this.ahead >= START || (this.resting && this.ahead))) this.begun = true;
    for (let i = 0; i < left.length; i++) {
      const chunk = this.begun ? this.chunks[0] : undefined;
      if (chunk) {
        left[i] = this.left = chunk[this.at++];
        right[i] = this.right = chunk[this.at++];
        if (this.at === chunk.length) {
          this.chunks.shift();
          this.at = 0;
        }
        this.ahead -= 1;
        this.played += 1;
        if (this.gap) this.longestWait = Math.max(this.longestWait, Date.now() - this.dry);
        this.gap = 0;
      } else {
        left[i] = this.left *= 1 - 8 / FADE;
        right[i] = this.right *= 1 - 8 / FADE;
        if (this.begun && !this.resting) this.missed();
      }
    }
    if ((this.since += left.length) >= REPORT) {
      this.since = 0;
      const { generation, played, delivered, ahead, gaps, gapFrames, longestGap, longestWait } = this;
      this.port.postMessage({ generation, played, delivered, ahead, gaps, gapFrames, longestGap, longestWait });
    }
    return true;
  }

  missed() {
    if (!this.gap) {
      this.gaps += 1;
      this.dry = Date.now();
    }
    this.gap += 1;
    this.gapFrames += 1;
    this.longestGap = Math.max(this.longestGap, this.gap);
  }
}

registerProcessor("band", Player);
