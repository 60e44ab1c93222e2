// The worker that makes sound: Opus packets become samples, samples become another tempo or key. It answers
// { stream, frames } with so many more frames of that stream. A stream is one player from one place at one rate.

const RATE = 48000;
const FRAME = 960;
const BLOCK = 50; // packets decoded at a time, one second
const KEPT = 12; // decoded blocks kept for each player
const PREROLL = 4; // packets decoded before a jump, as RFC 7845 advises (80 ms)
const TONALITY = 8000 / RATE; // partials above are moved without keeping their ratios
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

async function addPlayer({ role, base64, sizes, channels, skip, frames }) {
  const { OpusDecoder } = self["opus-decoder"];
  const decoder = new OpusDecoder({
    sampleRate: RATE, channels, streamCount: 1, coupledStreamCount: channels - 1, preSkip: 0,
    channelMappingTable: channels === 1 ? [0] : [0, 1],
  });
  await decoder.ready;
  const bytes = bytesOf(base64);
  const starts = new Uint32Array(sizes.length + 1);
  sizes.forEach((size, i) => (starts[i + 1] = starts[i] + size));
  players.set(role, { decoder, bytes, starts, channels, skip, frames, next: 0, blocks: new Map() });
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

async function openStream({ stream, role, from, rate, shift }) {
  const player = players.get(role);
  const plain = rate === 1 && shift === 0;
  const made = { player, rate, plain, from: Math.round(from * RATE), done: 0, stretch: null };
  streams.set(stream, made);
  if (plain) return;
  const s = (made.stretch = await stretcher(player.channels));
  s.module._reset();
  s.module._setTransposeSemitones(shift, TONALITY);
  const { input } = views(s);
  // What comes out lies `before` input samples and `after` output samples behind what goes in.
  copy(player, made.from + s.before - s.room, s.room, input);
  s.module._seek(s.room, rate);
  made.fed = made.from + s.before;
  made.out = -s.after;
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

function pull(made, frames) {
  const { player, plain } = made;
  const result = Array.from({ length: player.channels }, () => new Float32Array(frames));
  if (plain) {
    copy(player, made.from + made.done, frames, result);
    made.done += frames;
    return result;
  }
  const s = made.stretch;
  while (made.out < made.done + frames) {
    const wanted = made.out < 0 ? -made.out : made.done + frames - made.out;
    const count = Math.min(STEP, wanted);
    const reach = made.from + s.before + Math.round((made.out + s.after + count) * made.rate);
    const { input, output } = views(s);
    copy(player, made.fed, reach - made.fed, input);
    s.module._process(reach - made.fed, count);
    made.fed = reach;
    if (made.out >= 0) result.forEach((channel, c) => channel.set(output[c].subarray(0, count), made.out - made.done));
    made.out += count;
  }
  made.done += frames;
  return result;
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
  const channels = pull(made, message.frames);
  self.postMessage({ stream: message.stream, channels }, channels.map((c) => c.buffer));
  return undefined;
}

let queue = Promise.resolve();
self.onmessage = ({ data }) => {
  queue = queue.then(() => answer(data)).catch((error) => self.postMessage({ error: String(error) }));
};
