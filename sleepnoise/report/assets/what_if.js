"use strict";
// Which events stay audible behind a measure and a masker. The same model as the program's:
// S > kappa (N + Q) in some third octave; levels in dB, NaN is not known and takes no part.

const energy = (db) => 10 ** (db / 10);

// Margins of all events, dB: positive is audible; NaN where no band is known.
function margins(model, lossDb, maskerDb) {
  const { bands, limit_db: limit, ear_noise_db: ear, signal_db: signal, background_db: background } = model;
  const hidden = Float64Array.from(ear, (db, band) => energy(db) + energy(maskerDb[band])), found = [];
  for (let at = 0; at < signal.length; at += bands) {
    let best = NaN;
    for (let band = 0; band < bands; band++) {
      const noise = energy(background[at + band] - lossDb[band]) + hidden[band];
      const margin = signal[at + band] - lossDb[band] - limit[band] - 10 * Math.log10(noise);
      if (!Number.isNaN(margin) && !(margin <= best)) best = margin;
    }
    found.push(best);
  }
  return found;
}

class WhatIf {
  constructor(night, view, onChange) {
    Object.assign(this, { night, view, onChange });
    const model = night.model, part = (id) => document.getElementById(id);
    for (const id of ["masker", "shape", "step", "loss"]) this[id] = part(id);
    this.canvas = part("margins");
    // One place below the quietest masker stands for none.
    Object.assign(this.masker, { min: model.lowest_dba - 1, max: model.hard_cap_dba, step: 1 });
    this.masker.value = this.masker.min;
    this.shape.append(...model.shapes.map(([name], place) => element("option", { value: place }, name)));
    const pink = model.shapes.findIndex(([name]) => name === "pink");
    this.shape.value = Math.max(pink, 0);
    this.step.append(...model.steps.map(([title], place) => element("option", { value: place }, title)));
    for (const id of ["masker", "shape", "step", "loss"]) this[id].addEventListener("input", () => this.update());
    view.listeners.push(() => this.draw());
    this.update();
  }

  update() {
    const model = this.night.model, asked = Number(this.masker.value), loss = Number(this.loss.value);
    const level = asked < model.lowest_dba ? -Infinity : asked;
    const shape = model.shapes[Number(this.shape.value)][1], step = model.steps[Number(this.step.value)][1];
    this.found = margins(model, step.map((db) => number(db) + loss), shape.map((db) => number(db) + level));
    const audible = this.found.map((margin) => margin > model.margin_db);
    const masker = level === -Infinity ? "none" : `${level} dB(A)`;
    document.getElementById("masker-value").textContent = masker;
    this.masker.setAttribute("aria-valuetext", masker);
    document.getElementById("loss-value").textContent = `${loss} dB`;
    this.loss.setAttribute("aria-valuetext", `${loss} dB`);
    this.tell(audible, level);
    this.onChange(audible);
    this.draw();
  }

  tell(audible, level) {
    const { night } = this, count = audible.filter(Boolean).length, line = document.getElementById("trial-result");
    const all = night.events_found > audible.length ? `${audible.length} events looked at here` : `${audible.length} events`;
    line.replaceChildren(element("strong", {}, `${count} of ${all}`), " lie above the audibility margin.");
    if (level > night.model.cap_dba) {
      line.append(` A masker above ${night.model.cap_dba} dB(A) is not proposed: it disturbs sleep itself.`);
    } else if (level > 30) {
      line.append(" A masker above 30 dB(A) alone exceeds the WHO 1999 value for bedrooms.");
    }
    if (!night.absolute) line.append(" Levels are not calibrated: counts may be far off.");
    const margin = (place) => `${this.night.events[place].number} (${levelText(this.found[place])})`;
    const loudest = [...audible.keys()].filter((place) => audible[place]).sort((one, other) => this.found[other] - this.found[one]);
    document.getElementById("trial-list").textContent = loudest.length
      ? `Events above it, with their margins in dB, most audible first: ${loudest.map(margin).join(", ")}.`
      : "No event lies above it.";
    line.dataset.audible = count;
    line.dataset.margins = JSON.stringify(this.found);
  }

  draw() {
    if (!this.canvas.clientWidth) return;
    const height = 190, [pen, width] = prepared(this.canvas, height), { night, view } = this;
    const finite = this.found.filter(Number.isFinite), limit = night.model.margin_db;
    const low = Math.floor(Math.min(limit - 10, ...finite, 0) / 10) * 10, high = Math.ceil(Math.max(limit + 10, ...finite) / 10) * 10;
    const y = (db) => height - 24 - (height - 52) * (Math.max(db, low) - low) / (high - low);
    const x = (tick) => LEFT + (rightOf(width) - LEFT) * (tick - view.first) / (view.last - view.first);
    pen.fillStyle = colour("soft");
    pen.textBaseline = "middle";
    pen.textAlign = "left";
    pen.fillText("margin, dB", 2, 8);
    for (const db of tens(low, high)) {
      pen.strokeStyle = colour("rule");
      pen.beginPath(); pen.moveTo(LEFT, y(db)); pen.lineTo(rightOf(width), y(db)); pen.stroke();
      pen.textAlign = "right";
      pen.fillText(sign(String(db)), LEFT - 6, y(db));
    }
    pen.strokeStyle = colour("ink");
    pen.lineWidth = 2;
    pen.beginPath(); pen.moveTo(LEFT, y(limit)); pen.lineTo(rightOf(width), y(limit)); pen.stroke();
    pen.textAlign = "center";
    for (const [tick, step] of clockMarks(night, view.first, view.last, width)) pen.fillText(clock(night, tick, step), Math.min(Math.max(x(tick), LEFT + 12), width - 24), height - 10);
    this.found.forEach((margin, place) => {
      const event = night.events[place], at = x((event.first + event.last) / 2);
      if (at < LEFT || at > rightOf(width) || Number.isNaN(margin)) return;
      pen.beginPath();
      pen.arc(at, y(margin), 4, 0, 2 * Math.PI);
      pen.fillStyle = pen.strokeStyle = colour("purple");
      pen.lineWidth = 1.5;
      if (margin > limit) pen.fill(); else pen.stroke();
    });
  }
}
