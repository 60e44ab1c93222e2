// The workers that make sound: each answers for its players, and is asked for frames of a stream.

export function openStudio(data, sources) {
  const url = URL.createObjectURL(new Blob([sources.code], { type: "text/javascript" }));
  const count = Math.max(1, Math.min(data.players.length, 3, (navigator.hardwareConcurrency || 2) - 1));
  const workers = Array.from({ length: count }, () => new Worker(url));
  const by = new Map();
  const waiting = new Map();
  let number = 0;
  const studio = { fault: null, onfault: () => {}, took: 0.35 };
  const faulty = (text) => {
    studio.fault = text;
    studio.onfault(text);
  };
  workers.forEach((worker) => {
    worker.onerror = (event) => faulty(event.message);
    worker.onmessage = ({ data: answer }) => {
      if (answer.error) return faulty(answer.error);
      const [resolve] = waiting.get(answer.stream)?.splice(0, 1) ?? [];
      return resolve?.(answer.channels);
    };
  });
  data.players.forEach((player, i) => {
    const worker = workers[i % count];
    by.set(player.role, worker);
    const { base64, sizes } = sources.stem(i);
    worker.postMessage({ add: { ...player, base64, sizes } });
  });
  studio.open = (role, from, rate, shift) => {
    const stream = ++number;
    waiting.set(stream, []);
    by.get(role).postMessage({ open: { stream, role, from, rate, shift } });
    return stream;
  };
  studio.pull = (role, stream, frames) =>
    new Promise((resolve) => {
      waiting.get(stream).push(resolve);
      by.get(role).postMessage({ stream, frames });
    });
  studio.close = (role, stream) => {
    waiting.delete(stream);
    by.get(role).postMessage({ close: stream });
  };
  studio.warm = () => warm(data, studio);
  return studio;
}

// The first sound of every player takes longest: have it made before it is wanted.
async function warm(data, studio) {
  for (const { role } of data.players) {
    const stream = studio.open(role, 0, 1, 0);
    await studio.pull(role, stream, 4800);
    studio.close(role, stream);
  }
  studio.took = 0.12;
}
