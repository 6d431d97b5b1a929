"use strict";
// The map of third octaves, of the same stretch of time as the trace.

class BandMap {
  constructor(night, view, canvas, readout) {
    Object.assign(this, { night, view, canvas, readout });
    this.rows = night.band_names.length;
    this.picture = this.painted();
    view.listeners.push(() => this.draw());
    canvas.addEventListener("pointermove", (event) => this.tell(event.offsetX, event.offsetY));
  }

  level(band, column) {
    const step = this.night.map.levels[band * this.night.map.columns + column];
    return step === 0 ? NaN : this.night.map.low_db + (step - 1) / this.night.map.steps;
  }

  // All columns in one picture, a pixel each; pictures that wide must be cut.
  painted() {
    const { colours, columns, low_db: low, high_db: high } = this.night.map, pictures = [];
    for (let from = 0; from < columns; from += 8192) {
      const wide = Math.min(8192, columns - from), image = new ImageData(wide, this.rows);
      for (let band = 0; band < this.rows; band++) {
        for (let column = 0; column < wide; column++) {
          const share = (this.level(band, from + column) - low) / (high - low);
          if (Number.isNaN(share)) continue;
          const shade = colours[Math.round(Math.min(Math.max(share, 0), 1) * (colours.length - 1))];
          image.data.set([...shade, 255], 4 * ((this.rows - 1 - band) * wide + column));
        }
      }
      const picture = document.createElement("canvas");
      picture.width = wide;
      picture.height = this.rows;
      picture.getContext("2d").putImageData(image, 0, 0);
      pictures.push([from, wide, picture]);
    }
    return pictures;
  }

  draw() {
    if (!this.canvas.clientWidth) return;
    const height = this.canvas.clientWidth < 500 ? 240 : 330, [pen, width] = prepared(this.canvas, height);
    const { view, night } = this, each = night.map.ticks_each, plot = rightOf(width) - LEFT, foot = height - BOTTOM;
    const x = (tick) => LEFT + plot * (tick - view.first) / (view.last - view.first);
    this.place = { plot, foot, height };
    pen.save();
    pen.beginPath(); pen.rect(LEFT, 8, plot, foot - 8); pen.clip();
    // Columns narrower than a pixel are blended, wider ones keep their edges.
    pen.imageSmoothingEnabled = (view.last - view.first) / each > plot;
    for (const [from, wide, picture] of this.picture) {
      const left = x(from * each);
      pen.drawImage(picture, left, 8, x((from + wide) * each) - left, foot - 8);
    }
    pen.restore();
    pen.textBaseline = "middle";
    if (rightOf(width) < width - 20) this.scale(pen, rightOf(width) + 14, foot);
    pen.fillStyle = colour("soft");
    pen.textAlign = "right";
    const row = (foot - 8) / this.rows, thousand = night.band_names.indexOf("1000");
    night.band_names.forEach((name, band) => {
      if ((band - thousand) % 3 === 0) pen.fillText(name, LEFT - 5, foot - row * (band + 0.5));
    });
    pen.textAlign = "left";
    pen.fillText("Hz", 2, foot + 16);
    pen.textAlign = "center";
    for (const [tick, step] of clockMarks(night, view.first, view.last, width)) {
      const text = clock(night, tick, step), half = pen.measureText(text).width / 2;
      pen.fillText(text, Math.min(Math.max(x(tick), LEFT + half - 8), width - half), foot + 16);
    }
  }

  // What the colours stand for, beside the map.
  scale(pen, left, foot) {
    const { colours, low_db: low, high_db: high } = this.night.map, top = 24;
    colours.forEach((shade, place) => {
      const y = foot - (foot - top) * (place + 1) / colours.length;
      pen.fillStyle = `rgb(${shade.join()})`;
      pen.fillRect(left, y, 12, (foot - top) / colours.length + 0.5);
    });
    pen.fillStyle = colour("soft");
    pen.textAlign = "left";
    pen.fillText(this.night.unit, left, 13);
    for (const db of tens(low, high)) pen.fillText(sign(String(db)), left + 17, foot - (foot - top) * (db - low) / (high - low));
  }

  tell(x, y) {
    const { plot, foot } = this.place, { view, night } = this;
    const tick = view.first + (view.last - view.first) * (x - LEFT) / plot;
    const band = Math.floor((foot - y) / ((foot - 8) / this.rows)), column = Math.floor(tick / night.map.ticks_each);
    if (band < 0 || band >= this.rows || column < 0 || column >= night.map.columns) return;
    this.readout.textContent = `${clock(night, column * night.map.ticks_each)}, ${night.band_names[band]} Hz: ${levelText(this.level(band, column))} ${night.unit}`;
  }
}
