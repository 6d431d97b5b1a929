"use strict";
// One event opened: its levels, spectrum and clip, and what people say that it was.

const SVG = "http://www.w3.org/2000/svg";

function drawing(name, attributes, ...inside) {
  const made = document.createElementNS(SVG, name);
  for (const [key, value] of Object.entries(attributes)) made.setAttribute(key, value);
  made.append(...inside);
  return made;
}

class EventPanel {
  constructor(night, trace, box) {
    Object.assign(this, { night, trace, box });
    this.saved = true;
    this.listeners = [];
    window.addEventListener("beforeunload", (event) => { if (!this.saved) event.preventDefault(); });
    this.update();
  }

  show(place, focus = false) {
    const event = this.night.events[place];
    this.place = place;
    this.box.hidden = false;
    this.box.replaceChildren(
      element("h3", { id: "event-h", tabindex: "-1" }, `Event ${event.number} at ${event.clock}`),
      element("div", { class: "tools" },
        element("button", { type: "button", onclick: () => this.trace.open(Math.max(place - 1, 0)) }, "Event before"),
        element("button", { type: "button", onclick: () => this.trace.open(Math.min(place + 1, this.night.events.length - 1)) }, "Next event"),
        element("button", { type: "button", onclick: () => this.trace.open(place) }, "Come closer"),
        element("button", { type: "button", onclick: () => this.close() }, "Close")),
      this.facts(event), this.clip(event), this.naming(event), this.spectrum(event));
    if (focus) this.box.querySelector("h3").focus();
  }

  // From a list of events: come to it in the drawing, and go to what is told of it.
  open(event) {
    const place = this.night.events.indexOf(event);
    this.trace.open(place);
    this.show(place, true);
  }

  close() {
    this.box.hidden = true;
    this.trace.chosen = null;
    this.trace.view.changed();
    this.trace.box.focus();
  }

  facts(event) {
    const list = element("dl", { class: "facts-row" });
    for (const [name, value] of event.facts) {
      list.append(element("div", {}, element("dt", {}, ...symbol(name)), element("dd", {}, value)));
    }
    if (event.group) list.append(element("div", {}, element("dt", {}, "Group"), element("dd", {}, event.group)));
    if (event.flags.length) list.append(element("div", {}, element("dt", {}, "Remarks"), element("dd", {}, event.flags.join("; "))));
    return list;
  }

  clip(event) {
    const address = this.night.clips[event.number];
    if (!address) return "";
    const sound = element("audio", { controls: true, preload: "none", src: address, "aria-label": `Event ${event.number}` });
    const blurred = this.night.clips_blurred.includes(event.number) ? "This clip is blurred, since it sounds like speech. " : "";
    return element("p", { class: "clip" }, sound, " ", blurred, this.night.clips_note);
  }

  naming(event) {
    const { night } = this, group = night.groups.get(event.group);
    const box = element("input", { type: "checkbox", onchange: () => { event.kept_out = box.checked; this.changed(); } });
    // What a sleeper or the room itself makes is no noise from outside.
    const changed = () => { delete event.kept_out; box.checked = leftOut(night, event); this.changed(); };
    const parts = namingFields(night, event, "", event.told || (group && group.label), changed);
    box.checked = leftOut(night, event);
    parts.push(element("label", {}, box, " leave it out of the results below"));
    if (group && group.events.length > 1) {
      parts.push(element("button", { type: "button", onclick: () => {
        Object.assign(group, { label: event.label || group.label, whose: event.whose || group.whose });
        Object.assign(event, { label: "", whose: "" });
        this.changed();
        this.show(this.place);
      } }, `Say so of all ${group.events.length} in ${event.group}`));
    }
    return element("div", { class: "tools naming" }, ...parts);
  }

  changed() {
    this.saved = false;
    this.update();
  }

  spectrum(event) {
    const { night } = this, highest = event.highest.map(number), ground = event.ground.map(number);
    const known = [...highest, ...ground].filter(Number.isFinite);
    const low = Math.floor(Math.min(...known, 0) / 10) * 10, high = Math.max(Math.ceil(Math.max(...known, 10) / 10) * 10, low + 10);
    // Drawn for the width at hand: letters keep their size.
    const narrow = this.box.clientWidth < 520, right = narrow ? 352 : 712;
    const box = { left: 46, right, top: 12, foot: 222 }, wide = (box.right - box.left) / highest.length;
    const y = (db) => box.foot - (box.foot - box.top) * Math.min(Math.max((db - low) / (high - low), 0), 1);
    const path = (levels) => {
      let text = "", joined = false;
      levels.forEach((db, band) => {
        if (Number.isNaN(db)) { joined = false; return; }
        const x = box.left + wide * band;
        text += `${joined ? "L" : "M"}${x.toFixed(1)},${y(db).toFixed(1)}H${(x + wide).toFixed(1)}`;
        joined = true;
      });
      return text;
    };
    const text = (x, at, anchor, words) => drawing("text", { x, y: at, "text-anchor": anchor }, words);
    const thousand = night.band_names.indexOf("1000");
    const svg = drawing("svg", { viewBox: `0 0 ${right + 8} 262`, role: "img", "aria-label": `Third octaves of event ${event.number}: highest level of each band over the background; the table below has the figures.` },
      ...tens(low, high).flatMap((db) => [drawing("path", { class: "rule", d: `M${box.left},${y(db)}H${box.right}` }), text(box.left - 6, y(db) + 4, "end", sign(String(db)))]),
      ...night.band_names.flatMap((name, band) => ((band - thousand) % (narrow ? 6 : 3) ? [] : [text(box.left + wide * (band + 0.5), box.foot + 18, "middle", name)])),
      text((box.left + box.right) / 2, 258, "middle", "third octave, Hz"),
      drawing("path", { class: "ground", d: path(ground) }), drawing("path", { class: "line line1", d: path(highest) }));
    const rows = night.band_names.map((name, band) => element("tr", {}, element("th", { scope: "row", class: "n" }, name),
      ...[highest[band], ground[band]].map((db) => element("td", { class: "n" }, levelText(db)))));
    const heads = ["Band, Hz", `Highest, ${night.unit}`, `Background, ${night.unit}`].map((head) => element("th", { scope: "col", class: "n" }, head));
    const table = element("table", { class: "close narrow" }, element("caption", {}, `Third octaves of event ${event.number}`),
      element("thead", {}, element("tr", {}, ...heads)), element("tbody", {}, ...rows));
    return element("figure", { class: "spectrum" }, svg,
      element("figcaption", {}, "Solid: highest of each band. Dotted: background before it."),
      element("details", {}, element("summary", {}, "The same as a table"), table));
  }

  // What the night comes to without the events that were ticked: their ticks are taken out of the average.
  update() {
    const { night } = this, out = night.events.filter((event) => leftOut(night, event));
    const named = night.events.filter((event) => isNamed(night, event));
    for (const box of document.querySelectorAll(".results")) {
      box.replaceChildren();
      if (out.length) box.append(this.without(out));
      box.append(element("p", {}, `${named.length} of ${night.events.length} events are named. `,
        element("button", { type: "button", class: "save-labels", onclick: () => this.save() }, "Save labels as a file")));
    }
    for (const listener of this.listeners) listener();
  }

  without(out) {
    const { night } = this, before = night.night_energy;
    let { ticks, energy: sum } = before;
    let highest = NOT_KNOWN, from = night.night[0];
    const take = (first, last) => {
      const level = extremeWithin(night.highest, first, last, true);
      if (level !== NOT_KNOWN && (highest === NOT_KNOWN || level > highest)) highest = level;
    };
    night.events.forEach((event, place) => {
      if (!leftOut(night, event)) return;
      ticks -= before.event_ticks[place];
      sum -= before.event_energy[place];
      take(from, event.first);
      from = event.last;
    });
    take(from, night.night[1]);
    const laeq = ticks > 0 ? 10 * Math.log10(sum / ticks) : NaN, lafmax = decibels(highest);
    const count = night.events_found - out.length;
    const line = element("p", {}, element("strong", {}, `Without ${out.length} event${out.length === 1 ? "" : "s"}: `),
      ...symbol("LAeq"), ` ${levelText(laeq)} ${night.unit}, `, ...symbol("LAFmax"), ` ${levelText(lafmax)} ${night.unit}, ${count} event${count === 1 ? "" : "s"} left. Guideline values still count ${out.length === 1 ? "it" : "them"}.${night.other_spans.length ? " Stretches of time that were named besides events are still in these figures." : ""}`);
    Object.assign(line.dataset, { laeq, lafmax });
    return line;
  }

  save() {
    const file = new Blob([labelsFile(this.night)], { type: "text/csv" });
    const address = URL.createObjectURL(file), link = element("a", { href: address, download: "labels.csv" });
    link.click();
    setTimeout(() => URL.revokeObjectURL(address), 10000);
    this.saved = true;
  }
}
