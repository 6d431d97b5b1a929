"use strict";
// The night's numbers, unpacked: see page_data.py for how they were packed.

const TICK_MS = 125;
const NOT_KNOWN = 32767, SILENCE = -32768;

const number = (value) => (value === null ? NaN : Number(value)); // "-Infinity" is silence.

async function inflated(text) {
  const bytes = Uint8Array.from(atob(text), (letter) => letter.charCodeAt(0));
  const stream = new Blob([bytes]).stream().pipeThrough(new DecompressionStream("deflate"));
  return new Uint8Array(await new Response(stream).arrayBuffer());
}

async function hundredths(text) {
  const bytes = await inflated(text), count = bytes.length / 2, levels = new Int16Array(count);
  let level = 0;
  for (let i = 0; i < count; i++) {
    level = (level + (bytes[i] | (bytes[count + i] << 8))) << 16 >> 16;
    levels[i] = level;
  }
  return levels;
}

async function floats(text) {
  return new Float32Array((await inflated(text)).buffer);
}

// Extremes of ever longer stretches: whatever is on show takes about as long to draw.
// What is not known takes no part; a stretch that holds nothing else stays not known.
function extremes(levels, highest) {
  const layers = [levels];
  while (layers[layers.length - 1].length > 1) {
    const below = layers[layers.length - 1], above = new Int16Array(Math.ceil(below.length / 4));
    for (let i = 0; i < above.length; i++) {
      above[i] = scanned(below, 4 * i, Math.min(4 * i + 4, below.length), highest);
    }
    layers.push(above);
  }
  return layers;
}

function scanned(levels, first, last, highest) {
  let best = NOT_KNOWN;
  for (let i = first; i < last; i++) {
    const level = levels[i];
    if (level !== NOT_KNOWN && (best === NOT_KNOWN || (highest ? level > best : level < best))) best = level;
  }
  return best;
}

// The extreme of ticks first <= t < last, exact: whole stretches from above, edges from below.
function extremeWithin(layers, first, last, highest) {
  let best = NOT_KNOWN, depth = 0;
  const take = (level) => {
    if (level !== NOT_KNOWN && (best === NOT_KNOWN || (highest ? level > best : level < best))) best = level;
  };
  while (first < last) {
    const layer = layers[depth];
    while (first < last && (first % 4 || depth === layers.length - 1)) take(layer[first++]);
    while (first < last && last % 4) take(layer[--last]);
    first /= 4; last /= 4; depth++;
  }
  return best;
}

const decibels = (level) => (level === NOT_KNOWN ? NaN : level === SILENCE ? -Infinity : level / 100);
const sign = (text) => text.replace("-", "−");

function levelText(db, decimals = 1) {
  if (Number.isNaN(db)) return "not known";
  if (db === -Infinity) return "silence";
  return sign(db.toFixed(decimals).replace(/^-(0\.?0*)$/, "$1"));
}

// Local time without the browser's zones: the page knows from when on which offset holds.
function localTime(night, tick) {
  const ms = night.start_ms + tick * TICK_MS;
  return ms + offsetAt(night, ms);
}

function offsetAt(night, ms) {
  let offset = night.offsets[0][1];
  for (const [from, value] of night.offsets) if (ms >= from) offset = value;
  return offset;
}

function clock(night, tick, stepMs = 1000) {
  const text = new Date(localTime(night, tick)).toISOString();
  return text.slice(11, stepMs >= 60000 ? 16 : stepMs >= 1000 ? 19 : 23);
}

// The first tick at a local clock time, given as 4:10, 04:10:00 or 04:10:00.5; null if there is none.
function tickAtClock(night, text) {
  const parts = /^\s*(\d{1,2}):(\d{2})(?::(\d{2}(?:\.\d+)?))?\s*$/.exec(text);
  if (!parts) return null;
  const wanted = ((Number(parts[1]) * 60 + Number(parts[2])) * 60 + Number(parts[3] || 0)) * 1000;
  const day = 86400000;
  for (const [index, [from, offset]] of night.offsets.entries()) {
    const until = index + 1 < night.offsets.length ? night.offsets[index + 1][0] : Infinity;
    const begin = Math.max(from, night.start_ms);
    const ms = begin + (((wanted - ((begin + offset) % day)) % day) + day) % day;
    const tick = Math.round((ms - night.start_ms) / TICK_MS);
    if (ms < until && tick < night.ticks) return tick;
  }
  return null;
}

// An element with plain text in it: no text of the night is ever taken for mark-up.
function element(name, attributes = {}, ...inside) {
  const made = document.createElement(name);
  for (const [key, value] of Object.entries(attributes)) {
    if (key.startsWith("on")) made.addEventListener(key.slice(2), value);
    else if (value === true) made.setAttribute(key, "");
    else if (value !== false && value !== null) made.setAttribute(key, value);
  }
  made.append(...inside);
  return made;
}

// "LAFmax over LA90" with subscripts.
function symbol(text) {
  const parts = text.split(/\b(L[AC](?:eq|F|S|E|Fmax|Smax|peak|\d+))\b/);
  return parts.map((part, place) => (place % 2 ? [element("span", {}, "L", element("sub", {}, part.slice(1)))] : part)).flat();
}

const colour = (name) => getComputedStyle(document.documentElement).getPropertyValue(`--${name}`).trim();

// A canvas as sharp as the screen; sizes in CSS pixels.
function prepared(canvas, height) {
  const width = canvas.clientWidth, ratio = window.devicePixelRatio || 1;
  canvas.width = Math.round(width * ratio);
  canvas.height = Math.round(height * ratio);
  canvas.style.height = `${height}px`;
  const pen = canvas.getContext("2d");
  pen.setTransform(ratio, 0, 0, ratio, 0, 0);
  pen.clearRect(0, 0, width, height);
  pen.font = `12px ${getComputedStyle(document.body).fontFamily}`;
  return [pen, width];
}

const tens = (low, high) => Array.from({ length: Math.round((high - low) / 10) + 1 }, (_, i) => low + 10 * i);
