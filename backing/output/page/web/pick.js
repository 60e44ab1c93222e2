// Dragging over bars chooses them; a tap goes to one bar; with Shift the choice reaches to it.

function barUnder(event) {
  const zone = document.elementFromPoint(event.clientX, event.clientY)?.closest?.(".zone");
  return zone ? Number(zone.dataset.bar) : -1;
}

// `on`: choosing(first, last) while the finger moves, choose(first, last) when it is lifted, tap(bar), reach(bar).
export function picks(area, on) {
  let from = -1, to = -1, dragged = false;
  area.addEventListener("pointerdown", (event) => {
    if (event.button) return;
    from = to = barUnder(event);
    dragged = false;
  });
  area.addEventListener("pointermove", (event) => {
    if (from < 0 || !event.buttons) return;
    const bar = barUnder(event);
    if (bar < 0 || bar === to) return;
    to = bar;
    dragged = true;
    on.choosing(Math.min(from, to), Math.max(from, to));
  });
  area.addEventListener("pointerup", () => {
    if (from >= 0 && dragged) on.choose(Math.min(from, to), Math.max(from, to));
    from = -1;
  });
  area.addEventListener("pointercancel", () => {
    if (from >= 0 && dragged) on.dropped(); // the finger scrolls
    from = -1;
  });
  area.addEventListener("click", (event) => {
    const zone = event.target.closest?.(".zone");
    if (!zone || (dragged && event.detail)) return; // a key that is pressed has no detail
    const bar = Number(zone.dataset.bar);
    if (event.shiftKey) on.reach(bar);
    else on.tap(bar);
  });
}
