// The worker that makes sound: Opus packets become samples, and these another tempo or key. It answers
// { stream, frames } with so many more frames of that stream. A stream is one player from one place at one rate.

import { sliced } from "./slices.js";
import { HALF, resampled } from "./resample.js";

const RATE = 48000;
const FRAME = 960;
const BLOCK = 50; // packets decoded at a time, one second
const KEPT = 12; // decoded blocks kept for each player
const PREROLL = 4; // packets decoded before a jump, as RFC 7845 advises (80 ms)
const STEP = 2400; // frames stretched at a time

const players = new Map();
const streams = new Map();
const spare = []; // stretchers that no stream uses

function bytesOf(base64) {
  const text = atob(base64);
  const bytes = new Uint8Array(text.length);
  for (let i = 0; i < text.length; i++) bytes[i] = text.charCodeAt(i);
  return bytes;
}

async function addPlayer({ role, base64, sizes, channels, skip, frames, onsets }) {
  const { OpusDecoder } = self["opus-decoder"];
  const decoder = new OpusDecoder({
    sampleRate: RATE, channels, streamCount: 1, coupledStreamCount: channels - 1, preSkip: 0,
    channelMappingTable: channels === 1 ? [0] : [0, 1],
  });
  await decoder.ready;
  const bytes = bytesOf(base64);
  const starts = new Uint32Array(sizes.length + 1);
  sizes.forEach((size, i) => (starts[i + 1] = starts[i] + size));
  players.set(role, { decoder, bytes, starts, channels, skip, frames, onsets, next: 0, blocks: new Map() });
}

// One decoded second; frames are counted as the decoder counts them, `skip` included.
function block(player, index) {
  const kept = player.blocks.get(index);
  if (kept) return kept;
  const { bytes, starts, decoder, channels } = player;
  const first = index * BLOCK;
  const last = Math.min(first + BLOCK, starts.length - 1);
  if (player.next !== first) {
    for (let p = Math.max(0, first - PREROLL); p < first; p++) decoder.decodeFrame(bytes.subarray(starts[p], starts[p + 1]));
  }
  const made = Array.from({ length: channels }, () => new Float32Array(BLOCK * FRAME));
  for (let p = first; p < last; p++) {
    const { channelData } = decoder.decodeFrame(bytes.subarray(starts[p], starts[p + 1]));
    made.forEach((channel, c) => channel.set(channelData[c], (p - first) * FRAME));
  }
  player.next = last;
  player.blocks.set(index, made);
  if (player.blocks.size > KEPT) player.blocks.delete(player.blocks.keys().next().value);
  return made;
}

// Samples `from` up to `from + count` of a player into `out`, silence outside the sound.
function copy(player, from, count, out) {
  out.forEach((channel) => channel.fill(0, 0, count));
  let at = Math.max(0, from);
  const end = Math.min(player.frames, from + count);
  while (at < end) {
    const place = at + player.skip;
    const index = Math.floor(place / (BLOCK * FRAME));
    const inside = place - index * BLOCK * FRAME;
    const length = Math.min(end - at, BLOCK * FRAME - inside);
    const source = block(player, index);
    out.forEach((channel, c) => channel.set(source[c].subarray(inside, inside + length), at - from));
    at += length;
  }
}

async function stretcher(channels) {
  const found = spare.findIndex((s) => s.channels === channels);
  if (found >= 0) return spare.splice(found, 1)[0];
  const module = await SignalsmithStretch();
  module._main();
  module._presetDefault(channels, RATE);
  const before = module._inputLatency();
  const after = module._outputLatency();
  const room = Math.max(before + after, STEP * 4);
  return { module, channels, before, after, room };
}

// A stream makes frames by `more(count)`: as they are, sliced, stretched, or stretched and read at another speed.
async function openStream({ stream, role, from, rate, shift }) {
  const player = players.get(role);
  const factor = 2 ** (shift / 12);
  const start = Math.round(from * RATE);
  const made = { more: null, stretch: null };
  streams.set(stream, made);
  if (player.onsets) made.more = rate === 1 ? plain(player, start) : slices(player, start, rate);
  else if (factor === 1) made.more = await spread(made, player, start, rate);
  else {
    const slow = rate / factor;
    const source = await spread(made, player, Math.round(start - HALF * slow), slow);
    made.more = resampled(source, player.channels, factor);
  }
}

const empty = (player, count) => Array.from({ length: player.channels }, () => new Float32Array(count));

function plain(player, start) {
  let at = start;
  return (count) => {
    const out = empty(player, count);
    copy(player, at, count, out);
    at += count;
    return out;
  };
}

function slices(player, start, rate) {
  const read = (at, count) => {
    const out = empty(player, count);
    copy(player, at, count, out);
    return out;
  };
  const onsets = player.onsets.filter((t) => t * RATE > start);
  const source = sliced(read, onsets, start, player.frames, rate);
  let rest = null; // of a slice that was given in part
  return (count) => {
    const out = empty(player, count);
    let at = 0;
    while (at < count) {
      const slice = rest ?? source.next().value;
      if (!slice) break;
      const length = Math.min(count - at, slice[0].length);
      out.forEach((channel, c) => channel.set(slice[c].subarray(0, length), at));
      rest = length < slice[0].length ? slice.map((channel) => channel.subarray(length)) : null;
      at += length;
    }
    return out;
  };
}

// Another tempo at the same pitch.
async function spread(made, player, start, rate) {
  if (rate === 1) return plain(player, start);
  const s = (made.stretch = await stretcher(player.channels));
  s.module._reset();
  s.module._setTransposeSemitones(0, 0.5);
  // What comes out lies `before` input samples and `after` output samples behind what goes in.
  copy(player, start + s.before - s.room, s.room, views(s).input);
  s.module._seek(s.room, rate);
  let fed = start + s.before;
  let out = -s.after; // frames made; those below 0 are thrown away
  return (frames) => {
    const result = empty(player, frames);
    const first = Math.max(0, out);
    while (out < first + frames) {
      const count = Math.min(STEP, out < 0 ? -out : first + frames - out);
      const reach = start + s.before + Math.round((out + s.after + count) * rate);
      const { input, output } = views(s);
      copy(player, fed, reach - fed, input);
      s.module._process(reach - fed, count);
      fed = reach;
      if (out >= 0) result.forEach((channel, c) => channel.set(output[c].subarray(0, count), out - first));
      out += count;
    }
    return result;
  };
}

// The stretcher's own memory, asked for anew each time because it may have moved.
function views({ module, channels, room }) {
  const at = module._setBuffers(channels, room);
  const view = (n) => new Float32Array(module.HEAP8.buffer, at + 4 * room * n, room);
  return {
    input: Array.from({ length: channels }, (_, c) => view(c)),
    output: Array.from({ length: channels }, (_, c) => view(c + channels)),
  };
}

function close(stream) {
  const made = streams.get(stream);
  streams.delete(stream);
  if (made?.stretch) spare.push(made.stretch);
}

async function answer(message) {
  if (message.add) return addPlayer(message.add);
  if (message.open) return openStream(message.open);
  if (message.close) return close(message.close);
  const made = streams.get(message.stream);
  if (!made) return undefined;
  const channels = made.more(message.frames);
  self.postMessage({ stream: message.stream, channels }, channels.map((c) => c.buffer));
  return undefined;
}

let queue = Promise.resolve();
self.onmessage = ({ data }) => {
  queue = queue.then(() => answer(data)).catch((error) => self.postMessage({ error: String(error) }));
};
