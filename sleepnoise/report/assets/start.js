"use strict";
// Unpack the night, then put the drawings to work. Until then, and without a script, still drawings stand there.

async function start() {
  const night = JSON.parse(document.getElementById("night-data").textContent), part = (id) => document.getElementById(id);
  const unpacked = [hundredths(night.highest), hundredths(night.lowest), inflated(night.map.levels),
    floats(night.model.signal_db), floats(night.model.background_db)];
  const [highest, lowest, map, signal, background] = await Promise.all(unpacked);
  Object.assign(night, { highest: extremes(highest, true), lowest: extremes(lowest, false) });
  night.map.levels = map;
  Object.assign(night.model, { signal_db: signal, background_db: background });
  night.groups = groupsOf(night);
  document.documentElement.classList.add("scripted");
  const view = new View(night.ticks);
  let panel = null;
  const trace = new Trace(night, view, part("trace"), part("trace-readout"), (place) => panel.show(place));
  if (part("left-out")) panel = new EventPanel(night, trace, part("event"));
  if (panel && part("group")) new GroupPanel(night, panel, part("group"));
  new BandMap(night, view, part("map-live"), part("map-readout"));
  if (part("trial")) new WhatIf(night, view, (audible) => { trace.audible = audible.every(Boolean) ? null : audible; view.changed(); });
  const places = new Map(night.events.map((event, place) => [String(event.number), place]));
  for (const cell of document.querySelectorAll(".event-list tbody th")) {
    const text = cell.textContent, place = places.get(text);
    if (place === undefined) continue;
    const open = () => panel.open(night.events[place]);
    cell.replaceChildren(element("button", { type: "button", class: "opener", "aria-label": `Open event ${text}`, onclick: open }, text));
  }
  part("closer").onclick = () => view.closer(0.5);
  part("farther").onclick = () => view.closer(2);
  part("earlier").onclick = () => view.move(-0.5);
  part("later").onclick = () => view.move(0.5);
  part("whole").onclick = () => view.show(0, night.ticks);
  const go = () => {
    const tick = tickAtClock(night, part("from").value);
    part("from").setAttribute("aria-invalid", String(tick === null));
    if (tick !== null) view.show(tick, tick + Number(part("span").value));
    else part("trace-readout").textContent = "No such clock time in this recording: write it as 04:10 or 04:10:30.";
  };
  part("go").onclick = go;
  part("from").onkeydown = (event) => { if (event.key === "Enter") go(); };
  const redraw = () => view.changed();
  new ResizeObserver(redraw).observe(part("trace"));
  matchMedia("(prefers-color-scheme: dark)").addEventListener("change", redraw);
  for (const choice of document.querySelectorAll("input[name=reader]")) choice.addEventListener("change", redraw);
  view.changed();
}

start();
