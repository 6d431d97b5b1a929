"use strict";
// The level through the night: any stretch of it, down to single ticks of 125 ms.

const STEPS_MS = [125, 250, 500, 1000, 2000, 5000, 10000, 15000, 30000, 60000, 120000, 300000, 900000,
  1800000, 3600000, 7200000, 14400000, 28800000];
const LEFT = 44, TOP = 36, BOTTOM = 34, STRIP = 16, FEWEST_TICKS = 16;

// What is on show, shared by all drawings with time across.
class View {
  constructor(ticks) {
    this.ticks = ticks;
    this.first = 0;
    this.last = ticks;
    this.listeners = [];
    this.asked = false;
  }
  show(first, last) {
    const width = Math.min(Math.max(last - first, Math.min(FEWEST_TICKS, this.ticks)), this.ticks);
    this.first = Math.min(Math.max((first + last - width) / 2, 0), this.ticks - width);
    this.last = this.first + width;
    this.changed();
  }
  closer(factor, around = (this.first + this.last) / 2) {
    const width = (this.last - this.first) * factor, share = (around - this.first) / (this.last - this.first);
    this.show(around - share * width, around + (1 - share) * width);
  }
  move(share) {
    const by = share * (this.last - this.first);
    const held = Math.min(Math.max(by, -this.first), this.ticks - this.last);
    this.show(this.first + held, this.last + held);
  }
  changed() {
    if (this.asked) return;
    this.asked = true;
    requestAnimationFrame(() => {
      this.asked = false;
      for (const listener of this.listeners) listener();
    });
  }
}

// Room for the names of published values beside the drawing, where there is any.
const rightOf = (width) => width - (width < 700 ? 10 : 78);

// Round local clock times within a view, with the distance between them.
function clockMarks(night, first, last, width) {
  const most = Math.max(Math.floor(width / 84), 2), span = (last - first) * TICK_MS;
  const step = STEPS_MS.find((each) => span / each <= most) || STEPS_MS[STEPS_MS.length - 1];
  const marks = [], begin = night.start_ms + first * TICK_MS, end = night.start_ms + last * TICK_MS;
  for (let ms = begin; ms <= end; ms += step) {
    // Each in its own offset: on a night when clocks change the labels jump as they do.
    const offset = offsetAt(night, ms), round = Math.ceil((ms + offset) / step) * step - offset;
    if (round <= end && (!marks.length || round > marks[marks.length - 1])) marks.push(round);
  }
  return marks.map((ms) => [(ms - night.start_ms) / TICK_MS, step]);
}

class Trace {
  constructor(night, view, box, readout, onEvent) {
    Object.assign(this, { night, view, box, readout, onEvent });
    this.canvas = box.querySelector("canvas");
    this.pointer = null;
    this.chosen = null;
    this.audible = null;
    view.listeners.push(() => this.draw());
    this.listen();
  }

  x(tick) { return LEFT + (rightOf(this.width) - LEFT) * (tick - this.view.first) / (this.view.last - this.view.first); }
  tick(x) { return this.view.first + (this.view.last - this.view.first) * (x - LEFT) / (rightOf(this.width) - LEFT); }
  y(db) {
    const [low, high] = this.night.scale_db;
    const share = Math.min(Math.max((db - low) / (high - low), 0), 1);
    return this.height - BOTTOM - (this.height - BOTTOM - TOP) * share;
  }

  draw() {
    this.height = this.canvas.clientWidth < 500 ? 270 : 380;
    [this.pen, this.width] = prepared(this.canvas, this.height);
    this.ground();
    this.axes();
    this.spread();
    this.stairs(2, "vermillion", 2.4, []);
    this.stairs(3, "ink", 1.8, [6, 3]);
    this.values();
    this.marks();
    this.underPointer();
    this.tell();
  }

  clipped(paint) {
    const pen = this.pen;
    pen.save();
    pen.beginPath();
    pen.rect(LEFT, 0, rightOf(this.width) - LEFT, this.height);
    pen.clip();
    paint(pen);
    pen.restore();
  }

  band(first, last, name) {
    this.pen.fillStyle = colour(name);
    const x = this.x(first);
    this.pen.fillRect(x, TOP, Math.max(this.x(last) - x, 1), this.height - BOTTOM - TOP);
  }

  ground() {
    this.clipped(() => {
      const [first, last] = this.night.night;
      this.band(0, first, "shade");
      this.band(last, this.night.ticks, "shade");
      for (const [from, to] of this.night.left_out) this.band(from, to, "shade");
    });
  }

  axes() {
    const pen = this.pen, [low, high] = this.night.scale_db, foot = this.height - BOTTOM;
    pen.strokeStyle = colour("rule");
    pen.fillStyle = colour("soft");
    pen.lineWidth = 1;
    pen.textAlign = "right";
    pen.textBaseline = "middle";
    for (const db of tens(low, high)) {
      const y = Math.round(this.y(db)) + 0.5;
      pen.beginPath(); pen.moveTo(LEFT, y); pen.lineTo(rightOf(this.width), y); pen.stroke();
      pen.fillText(sign(String(db)), LEFT - 6, y);
    }
    pen.textAlign = "left";
    pen.fillText(this.night.unit, 2, TOP - 10);
    pen.fillText("Events", LEFT, 8);
    pen.strokeStyle = colour("soft");
    pen.textAlign = "center";
    for (const [tick, step] of clockMarks(this.night, this.view.first, this.view.last, this.width)) {
      const x = Math.round(this.x(tick)) + 0.5;
      pen.beginPath(); pen.moveTo(x, foot); pen.lineTo(x, foot + 5); pen.stroke();
      const text = clock(this.night, tick, step), half = pen.measureText(text).width / 2;
      pen.fillText(text, Math.min(Math.max(x, LEFT + half - 8), this.width - half - 2), foot + 16);
    }
  }

  // One column a pixel, or one a tick where ticks are wider: highest and lowest of each.
  spread() {
    const { night, view } = this, wide = rightOf(this.width) - LEFT;
    const step = Math.max((view.last - view.first) / wide, 1), upper = [], lower = [];
    const begin = step > 1 ? view.first : Math.floor(view.first);
    for (let at = begin; at < view.last; at += step) {
      const first = Math.floor(at), last = Math.min(Math.max(Math.floor(at + step), first + 1), night.ticks);
      upper.push([at, decibels(extremeWithin(night.highest, first, last, true))]);
      lower.push([at, decibels(extremeWithin(night.lowest, first, last, false))]);
    }
    this.clipped((pen) => {
      pen.fillStyle = colour("sky");
      upper.forEach(([at, db], place) => {
        if (Number.isNaN(db)) return;
        const x = this.x(at), top = this.y(db);
        pen.fillRect(x, top, this.x(at + step) - x + 0.5, Math.max(this.y(lower[place][1]) - top, 1));
      });
      pen.strokeStyle = colour("blue");
      pen.lineWidth = 1.2;
      pen.lineJoin = "round";
      pen.beginPath();
      let joined = false;
      for (const [at, db] of upper) {
        if (Number.isNaN(db)) { joined = false; continue; }
        const y = this.y(db);
        if (joined) pen.lineTo(this.x(at), y); else pen.moveTo(this.x(at), y);
        pen.lineTo(this.x(at + step), y);
        joined = true;
      }
      pen.stroke();
    });
  }

  stairs(place, name, thick, dashes) {
    this.clipped((pen) => {
      const path = new Path2D();
      let joined = false;
      for (const quarter of this.night.quarter_hours) {
        const db = number(quarter[place]);
        if (Number.isNaN(db)) { joined = false; continue; }
        const first = this.x(quarter[0]), last = this.x(quarter[0] + quarter[1] * 1000 / TICK_MS), y = this.y(db);
        if (joined) path.lineTo(first, y); else path.moveTo(first, y);
        path.lineTo(last, y);
        joined = true;
      }
      pen.strokeStyle = colour("box");
      pen.lineWidth = thick + 2.4;
      pen.stroke(path);
      pen.strokeStyle = colour(name);
      pen.lineWidth = thick;
      pen.setLineDash(dashes);
      pen.stroke(path);
    });
  }

  values() {
    this.clipped((pen) => {
      for (const [db] of this.night.values) {
        const [low, high] = this.night.scale_db, y = this.y(db);
        if (db <= low || db >= high) continue;
        pen.strokeStyle = colour("soft");
        pen.lineWidth = 1.2;
        pen.setLineDash([1, 4]);
        pen.beginPath(); pen.moveTo(LEFT, y); pen.lineTo(rightOf(this.width), y); pen.stroke();
      }
    });
    const pen = this.pen, inside = rightOf(this.width) > this.width - 20;
    pen.fillStyle = colour("soft");
    pen.textAlign = inside ? "right" : "left";
    pen.textBaseline = inside ? "bottom" : "middle";
    for (const [db, text] of this.night.values) {
      const [low, high] = this.night.scale_db;
      if (db > low && db < high) pen.fillText(text, rightOf(this.width) + (inside ? -4 : 6), this.y(db));
    }
  }

  marks() {
    this.clipped((pen) => {
      this.night.events.forEach((event, place) => {
        const x = this.x(event.first), wide = Math.max(this.x(event.last) - x, 2);
        pen.fillStyle = pen.strokeStyle = colour("purple");
        // Filled is audible under "What if", hollow is not.
        if (!this.audible || this.audible[place]) pen.fillRect(x, STRIP, wide, 13);
        else { pen.lineWidth = 1; pen.strokeRect(x + 0.5, STRIP + 0.5, Math.max(wide - 1, 1), 12); }
        if (place === this.chosen) {
          pen.strokeStyle = colour("ink");
          pen.lineWidth = 2;
          pen.strokeRect(x - 2, STRIP - 2, wide + 4, 17);
        }
      });
      pen.fillStyle = colour("amber");
      for (const [first, last] of this.night.faults) {
        const x = this.x(first);
        pen.fillRect(x, this.height - BOTTOM - 6, Math.max(this.x(last) - x, 1.5), 6);
      }
    });
  }

  underPointer() {
    if (this.pointer === null || this.pointer < LEFT || this.pointer > rightOf(this.width)) return;
    const pen = this.pen, at = this.tick(this.pointer), step = Math.max((this.view.last - this.view.first) / (rightOf(this.width) - LEFT), 1);
    const first = Math.floor(at), last = Math.min(Math.max(Math.floor(at + step), first + 1), this.night.ticks);
    const db = decibels(extremeWithin(this.night.highest, first, last, true));
    const text = `${clock(this.night, first, step > 8 ? 1000 : TICK_MS)}  ${levelText(db)} dB`;
    const wide = pen.measureText(text).width, left = Math.min(this.pointer + 8, rightOf(this.width) - wide - 8);
    pen.strokeStyle = colour("soft");
    pen.lineWidth = 1;
    pen.beginPath(); pen.moveTo(this.pointer, TOP); pen.lineTo(this.pointer, this.height - BOTTOM); pen.stroke();
    pen.fillStyle = colour("box");
    pen.fillRect(left - 4, TOP + 2, wide + 8, 18);
    pen.fillStyle = colour("ink");
    pen.textAlign = "left";
    pen.textBaseline = "middle";
    pen.fillText(text, left, TOP + 12);
  }

  tell() {
    const first = Math.floor(this.view.first), last = Math.ceil(this.view.last), told = this.readout.dataset;
    // Said aloud by screen readers: only when it changes.
    if (Number(told.first) === first && Number(told.last) === last) return;
    const highest = decibels(extremeWithin(this.night.highest, first, last, true));
    const lowest = decibels(extremeWithin(this.night.lowest, first, last, false));
    const within = this.night.events.filter((event) => event.first < last && event.last > first).length;
    const step = last - first < 480 ? TICK_MS : 1000, until = clock(this.night, last, step);
    this.readout.replaceChildren(
      `${clock(this.night, first, step)} to ${until}: highest `, ...symbol("LAF"), ` ${levelText(highest)} ${this.night.unit}, lowest ${levelText(lowest)}; ${within} event${within === 1 ? "" : "s"}.`);
    Object.assign(told, { first, last, highest, lowest });
  }

  // The event under a place; the nearest within a finger's width.
  eventAt(x) {
    let best = null, nearest = 12;
    this.night.events.forEach((event, place) => {
      const first = this.x(event.first), last = this.x(event.last);
      const away = x < first ? first - x : x > last ? x - last : 0;
      if (away < nearest) { nearest = away; best = place; }
    });
    return best;
  }

  // The event after the one that is open, or before it; else the first on show, or the last.
  neighbour(direction) {
    const { events } = this.night, held = (place) => Math.min(Math.max(place, 0), events.length - 1);
    if (this.chosen !== null) return held(this.chosen + direction);
    const later = events.findIndex((event) => event.first >= (direction > 0 ? this.view.first : this.view.last));
    return held(later < 0 ? events.length - 1 : direction > 0 ? later : later - 1);
  }

  // The event with some minutes around it.
  open(place) {
    const event = this.night.events[place], wide = Math.max(3 * (event.last - event.first), 240);
    this.chosen = place;
    this.view.show((event.first + event.last - wide) / 2, (event.first + event.last + wide) / 2);
    this.onEvent(place);
  }

  listen() {
    const keys = {
      ArrowLeft: () => this.view.move(-0.25), ArrowRight: () => this.view.move(0.25),
      "+": () => this.view.closer(0.5), "=": () => this.view.closer(0.5), "-": () => this.view.closer(2),
      Home: () => this.view.show(0, this.night.ticks),
      n: () => this.open(this.neighbour(1)), b: () => this.open(this.neighbour(-1)),
    };
    this.box.addEventListener("keydown", (event) => {
      const act = keys[event.key.length === 1 ? event.key.toLowerCase() : event.key];
      if (!act || event.altKey || event.ctrlKey || event.metaKey) return;
      event.preventDefault();
      if (this.night.events.length || !"nb".includes(event.key.toLowerCase())) act();
    });
    this.box.addEventListener("wheel", (event) => {
      // A page that is being scrolled must not stick here.
      if (!event.ctrlKey && document.activeElement !== this.box) return;
      event.preventDefault();
      if (Math.abs(event.deltaX) > Math.abs(event.deltaY)) this.view.move(event.deltaX / this.width);
      else this.view.closer(1.0015 ** event.deltaY, this.tick(event.offsetX));
    }, { passive: false });
    this.listenToPointers();
  }

  listenToPointers() {
    const down = new Map();
    let moved = 0;
    const place = (event) => event.clientX - this.canvas.getBoundingClientRect().left;
    this.canvas.addEventListener("pointerdown", (event) => {
      this.canvas.setPointerCapture(event.pointerId);
      down.set(event.pointerId, place(event));
      if (down.size === 1) moved = 0;
    });
    this.canvas.addEventListener("pointermove", (event) => {
      const x = place(event), before = down.get(event.pointerId);
      this.pointer = x;
      if (before === undefined) { this.view.changed(); return; }
      const wide = rightOf(this.width) - LEFT, other = [...down].find(([id]) => id !== event.pointerId);
      moved += Math.abs(x - before);
      if (other) {
        const apart = Math.max(Math.abs(before - other[1]), 10), now = Math.max(Math.abs(x - other[1]), 10);
        this.view.closer(apart / now, this.tick((x + other[1]) / 2));
      } else {
        this.view.move((before - x) / wide);
      }
      down.set(event.pointerId, x);
    });
    const up = (event) => {
      if (!down.delete(event.pointerId) || moved > 6 || event.type === "pointercancel") return;
      const found = this.eventAt(place(event));
      if (found !== null) { this.chosen = found; this.onEvent(found); this.view.changed(); }
    };
    this.canvas.addEventListener("pointerup", up);
    this.canvas.addEventListener("pointercancel", up);
    this.canvas.addEventListener("pointerleave", () => { this.pointer = null; this.view.changed(); });
    this.canvas.addEventListener("dblclick", (event) => this.view.closer(0.25, this.tick(event.offsetX)));
  }
}
