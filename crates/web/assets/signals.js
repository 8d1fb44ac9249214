// The viewer of recordings: zoom, pan, cursors. The computing side sends least and greatest of each column.

const PREFIXES = [[1e9, "G"], [1e6, "M"], [1e3, "k"], [1, ""], [1e-3, "m"], [1e-6, "µ"], [1e-9, "n"], [1e-12, "p"]];

function engineering(value, unit, digits = 4) {
  if (value === 0 || !Number.isFinite(value)) return `${value} ${unit}`;
  const size = Math.abs(value);
  const [factor, letter] = PREFIXES.find(([f]) => size >= f * 0.9999) ?? PREFIXES[PREFIXES.length - 1];
  return `${(value / factor).toPrecision(digits)} ${letter}${unit}`;
}

const LANE = 130, NAME = 28, FOOT = 26;

class Viewer {
  constructor(box) {
    this.box = box;
    const number = (name) => Number(box.dataset[name]);
    this.from = number("from"); this.to = number("to");
    this.first = number("first"); this.last = number("last");
    this.marks = (box.dataset.marks || "").split(" ").filter(Boolean).map(Number);
    this.units = (box.dataset.units || "").split("\t");
    this.cursor = null; this.origin = null;
    this.fingers = new Map();
    this.build();
    this.ask();
  }

  build() {
    const { box } = this;
    box.querySelector(".lanes").remove();
    box.querySelector(".ends").remove();
    box.querySelector("[data-plain]").remove();
    this.canvas = document.createElement("canvas");
    this.canvas.tabIndex = 0;
    this.canvas.setAttribute("role", "application");
    this.canvas.setAttribute("aria-label", "Both units over each other; arrow keys move the cursor, plus and minus zoom");
    this.said = document.createElement("p");
    this.said.className = "at";
    this.said.setAttribute("aria-live", "polite");
    const row = document.createElement("p");
    const button = (words, act) => {
      const b = document.createElement("button");
      b.type = "button"; b.textContent = words;
      b.addEventListener("click", act);
      row.append(b);
    };
    button("Closer", () => this.zoom(0.5));
    button("Farther", () => this.zoom(2));
    button("Earlier", () => this.pan(-0.5));
    button("Later", () => this.pan(0.5));
    button("All of it", () => this.show(this.first, this.last));
    if (this.marks.length) {
      button("Previous difference", () => this.step(-1));
      button("Next difference", () => this.step(1));
    }
    button("Measure from the cursor", () => this.measure());
    box.append(this.canvas, this.said, row);
    this.canvas.addEventListener("wheel", (e) => {
      if (!e.ctrlKey && document.activeElement !== this.canvas) return; // the page scrolls until the viewer is in focus
      e.preventDefault();
      this.zoom(e.deltaY > 0 ? 1.25 : 0.8, this.time(e.offsetX));
    }, { passive: false });
    this.canvas.addEventListener("pointerdown", (e) => this.down(e));
    this.canvas.addEventListener("pointermove", (e) => this.moved(e));
    for (const kind of ["pointerup", "pointercancel"]) this.canvas.addEventListener(kind, (e) => this.up(e));
    this.canvas.addEventListener("keydown", (e) => this.key(e));
    new ResizeObserver(() => { if (this.canvas.clientWidth !== this.wide) this.ask(); }).observe(this.canvas);
    matchMedia("(prefers-color-scheme: dark)").addEventListener("change", () => this.draw());
  }

  time(x) { return this.from + (x / this.canvas.clientWidth) * (this.to - this.from); }
  place(t) { return ((t - this.from) / (this.to - this.from)) * this.wide; }

  show(from, to) {
    const whole = this.last - this.first;
    const span = Math.min(Math.max(to - from, whole * 1e-9), whole * 1.1);
    const middle = Math.min(Math.max((from + to) / 2, this.first), this.last);
    this.from = middle - span / 2; this.to = middle + span / 2;
    this.draw(); // what is known is stretched until the new one is there
    this.ask();
  }

  zoom(by, around) {
    const t = around ?? this.cursor ?? (this.from + this.to) / 2;
    const inside = t >= this.from && t <= this.to ? t : (this.from + this.to) / 2;
    this.show(inside - (inside - this.from) * by, inside + (this.to - inside) * by);
  }

  pan(by) { const step = by * (this.to - this.from); this.show(this.from + step, this.to + step); }

  step(way) {
    const here = this.cursor ?? (way > 0 ? this.from : this.to);
    const slack = (this.to - this.from) * 1e-6;
    const next = way > 0 ? this.marks.find((m) => m > here + slack) : this.marks.findLast((m) => m < here - slack);
    if (next === undefined) return;
    const half = (this.to - this.from) / 2;
    this.cursor = next;
    this.show(next - half, next + half);
  }

  measure() { this.origin = this.origin === null ? this.cursor : null; this.draw(); }

  key(e) {
    const step = (this.to - this.from) / 100;
    const acts = {
      "+": () => this.zoom(0.5), "=": () => this.zoom(0.5), "-": () => this.zoom(2),
      Home: () => this.show(this.first, this.last),
      PageDown: () => this.step(1), PageUp: () => this.step(-1), x: () => this.measure(),
    };
    if (e.key === "ArrowLeft" || e.key === "ArrowRight") {
      const way = e.key === "ArrowLeft" ? -1 : 1;
      if (e.shiftKey) this.pan(way / 4);
      else {
        this.cursor = (this.cursor ?? (this.from + this.to) / 2) + way * step;
        if (this.cursor < this.from || this.cursor > this.to) this.pan(way / 2); else this.draw();
      }
    } else if (acts[e.key] && !e.ctrlKey && !e.metaKey) acts[e.key]();
    else return;
    e.preventDefault();
    e.stopPropagation();
  }

  down(e) {
    this.canvas.focus({ preventScroll: true });
    this.canvas.setPointerCapture(e.pointerId);
    this.fingers.set(e.pointerId, e.offsetX);
    this.start = { from: this.from, to: this.to, x: e.offsetX, dragged: false, gap: this.gap() };
  }

  gap() { const [a, b] = [...this.fingers.values()]; return b === undefined ? 0 : Math.max(20, Math.abs(a - b)); }

  moved(e) {
    if (!this.fingers.has(e.pointerId)) {
      if (e.pointerType === "mouse") { this.cursor = this.time(e.offsetX); this.draw(); }
      return;
    }
    this.fingers.set(e.pointerId, e.offsetX);
    const { from, to, x, gap } = this.start;
    const span = to - from;
    if (this.fingers.size === 2) {
      const middle = from + (([...this.fingers.values()].reduce((a, b) => a + b) / 2) / this.canvas.clientWidth) * span;
      const by = gap / this.gap();
      this.start.dragged = true;
      this.show(middle - (middle - from) * by, middle + (to - middle) * by);
      return;
    }
    const far = e.offsetX - x;
    if (!this.start.dragged && Math.abs(far) < 6) return;
    this.start.dragged = true;
    const step = (far / this.canvas.clientWidth) * span;
    this.show(from - step, to - step);
  }

  up(e) {
    if (!this.fingers.delete(e.pointerId)) return;
    if (this.start && !this.start.dragged && e.type === "pointerup") { this.cursor = this.time(e.offsetX); this.draw(); }
    this.start = { from: this.from, to: this.to, x: [...this.fingers.values()][0] ?? 0, dragged: true, gap: this.gap() };
  }

  // One question at a time; the last one asked is answered.
  async ask() {
    if (this.asking) { this.again = true; return; }
    this.asking = true;
    const columns = Math.max(16, Math.round(this.canvas.clientWidth || 320));
    const { from, to } = this;
    try {
      const at = this.box.dataset.signals;
      const answer = await fetch(`${at}${at.includes("?") ? "&" : "?"}from=${from}&to=${to}&columns=${columns}`);
      if (answer.ok) { this.shown = await answer.json(); this.draw(); }
      else this.said.textContent = "The recording cannot be had.";
    } catch { this.said.textContent = "The bench does not answer."; }
    this.asking = false;
    if (this.again) { this.again = false; this.ask(); }
  }

  draw() {
    const { canvas, shown } = this;
    if (!shown) return;
    const sharp = devicePixelRatio || 1;
    const tall = shown.channels.length * (LANE + NAME) + FOOT;
    if (canvas.dataset.tall !== String(tall)) { canvas.dataset.tall = tall; canvas.style.height = `${tall}px`; }
    this.wide = canvas.clientWidth;
    if (canvas.width !== Math.round(this.wide * sharp) || canvas.height !== Math.round(tall * sharp)) {
      canvas.width = Math.round(this.wide * sharp); canvas.height = Math.round(tall * sharp);
    }
    const pen = canvas.getContext("2d");
    const look = getComputedStyle(document.documentElement);
    const colour = (name) => look.getPropertyValue(name).trim();
    pen.setTransform(sharp, 0, 0, sharp, 0, 0);
    pen.clearRect(0, 0, this.wide, tall);
    pen.font = "17px system-ui, sans-serif";
    pen.lineJoin = "round";
    const [ink, soft, hair] = ["--ink", "--soft", "--hair"].map(colour);
    shown.channels.forEach((lane, n) => {
      const top = n * (LANE + NAME) + NAME;
      pen.fillStyle = ink;
      pen.fillText(lane.name, 0, top - 9);
      const name = pen.measureText(lane.name).width;
      pen.fillStyle = soft;
      pen.fillText(`${engineering(lane.low, lane.unit, 3)} to ${engineering(lane.high, lane.unit, 3)}`, name + 14, top - 9);
      pen.fillStyle = hair; pen.fillRect(0, top + LANE - 1, this.wide, 1);
      lane.traces.map((trace, k) => [trace, k]).reverse().forEach(([trace, k]) => {
        pen.strokeStyle = k === 0 ? ink : hair;
        pen.lineWidth = k === 0 ? 1.6 : 7;
        this.trace(pen, trace, lane, top, k === 0 ? 1.6 : 7);
      });
    });
    this.lines(pen, tall, ink, soft);
    this.tell(shown);
  }

  trace(pen, trace, lane, top, wide) {
    const high = lane.high - lane.low || 1;
    const y = (v) => top + LANE * (0.94 - 0.88 * ((v - lane.low) / high));
    pen.beginPath();
    if (trace.t) {
      trace.t.forEach((t, k) => {
        const px = this.place(t), py = y(trace.v[k]);
        if (k === 0) pen.moveTo(px, py);
        else { if (trace.steps) pen.lineTo(px, y(trace.v[k - 1])); pen.lineTo(px, py); }
      });
      if (trace.steps && trace.v.length) pen.lineTo(this.place(this.shown.to), y(trace.v[trace.v.length - 1]));
    } else {
      const { from, to } = this.shown, count = trace.low.length;
      pen.lineWidth = Math.max(wide, (this.place(to) - this.place(from)) / count);
      for (let c = 0; c < count; c += 1) {
        if (trace.low[c] === null) continue;
        const px = this.place(from + ((c + 0.5) / count) * (to - from));
        pen.moveTo(px, y(trace.high[c]) - wide / 2); pen.lineTo(px, y(trace.low[c]) + wide / 2);
      }
    }
    pen.stroke();
  }

  lines(pen, tall, ink, soft) {
    pen.fillStyle = soft;
    pen.fillText(engineering(this.from, "s"), 0, tall - 6);
    const end = engineering(this.to, "s");
    pen.fillText(end, this.wide - pen.measureText(end).width, tall - 6);
    pen.strokeStyle = ink; pen.lineWidth = 1.5;
    pen.setLineDash([2, 5]);
    let free = -Infinity;
    this.marks.forEach((m, n) => {
      const px = this.place(m);
      if (px < 0 || px > this.wide) return;
      pen.beginPath(); pen.moveTo(px, NAME - 8); pen.lineTo(px, tall - FOOT); pen.stroke();
      if (px < free) return; // numbers that would lie over each other are left to the list
      pen.fillStyle = ink; pen.fillText(String(n + 1), Math.min(px + 5, this.wide - 24), tall - FOOT - 6);
      free = px + 30;
    });
    pen.setLineDash([]);
    for (const [t, dash] of [[this.cursor, []], [this.origin, [8, 4]]]) {
      if (t === null) continue;
      pen.setLineDash(dash);
      pen.beginPath(); pen.moveTo(this.place(t), 0); pen.lineTo(this.place(t), tall - FOOT); pen.stroke();
    }
    pen.setLineDash([]);
  }

  value(trace, t) {
    if (trace.t) {
      const after = trace.t.findIndex((x) => x > t);
      if (after === 0 || !trace.t.length) return null;
      if (after < 0) return trace.steps ? [trace.v[trace.v.length - 1]] : null;
      if (trace.steps) return [trace.v[after - 1]];
      const f = (t - trace.t[after - 1]) / (trace.t[after] - trace.t[after - 1]);
      return [trace.v[after - 1] + f * (trace.v[after] - trace.v[after - 1])];
    }
    const c = Math.floor(((t - this.shown.from) / (this.shown.to - this.shown.from)) * trace.low.length);
    return trace.low[c] == null ? null : [trace.low[c], trace.high[c]];
  }

  tell(shown) {
    const parts = [];
    const put = (tag, words) => { const e = document.createElement(tag); e.textContent = words; parts.push(e); };
    if (this.cursor === null) put("span", "Point, tap or use the arrow keys for a reading; drag to move, + and - to zoom.");
    else {
      put("strong", engineering(this.cursor, "s", 6));
      if (this.origin !== null) {
        const far = this.cursor - this.origin;
        put("strong", `${engineering(far, "s")} from the mark${far ? `, ${engineering(1 / Math.abs(far), "Hz")}` : ""}`);
      }
      for (const lane of shown.channels) {
        const read = lane.traces.map((trace, k) => {
          const v = this.value(trace, this.cursor);
          const words = v === null ? "nothing recorded" : v.map((x) => engineering(x, lane.unit, 3)).join(" to ");
          return `unit ${this.units[k] ?? k + 1} ${words}`;
        });
        put("span", `${lane.name}: ${read.join(", ")}`);
      }
    }
    this.said.replaceChildren(...parts);
  }
}

export function bindSignals(root) {
  for (const box of root.querySelectorAll("[data-signals]:not([data-bound])")) {
    box.dataset.bound = "yes";
    let viewer = null;
    const begin = () => { viewer ??= new Viewer(box); };
    const folded = box.closest("details:not([open])");
    if (folded) folded.addEventListener("toggle", begin, { once: true }); else begin();
    for (const link of root.querySelectorAll("a[data-go]")) {
      link.addEventListener("click", (event) => {
        event.preventDefault();
        begin();
        const [from, to] = link.dataset.go.split(" ").map(Number);
        viewer.cursor = (from + to) / 2;
        viewer.show(from, to);
        box.scrollIntoView({ block: "start" });
        viewer.canvas.focus({ preventScroll: true });
      });
    }
  }
}
