// The last minute of both pressures and the loss, with taps, captures, and what nobody has seen.
const SECONDS = 60;
const GAP_S = 1.0;
const LATE_S = 2.0;

export class Trace {
  // `clockS` gives the bench's time: what has stopped moves away from now.
  constructor(place, clockS) {
    this.place = place;
    this.clockS = clockS;
    this.columns = [[], [], [], []];
    this.marks = [];
    this.most = 0; // the greatest loss that was captured: fills and vents may leave the scale
    this.slow = matchMedia("(prefers-reduced-motion: reduce)").matches ? 1000 : 190;
    this.drawnMs = 0;
    setInterval(() => this.draw(false), 1000);
    new ResizeObserver(() => this.resize()).observe(place);
  }

  // What the bench remembers replaces what is here, but for the time before it.
  fill([times, ...rows]) {
    const first = times.length ? times[0] : Infinity;
    const before = this.columns[0].findIndex((t) => t >= first);
    const kept = before < 0 ? this.columns[0].length : before;
    this.columns = this.columns.map((column, i) => column.slice(0, kept).concat(i ? rows[i - 1] : times));
    this.draw(true);
  }

  add(t, supply, cylinder, loss) {
    const times = this.columns[0];
    if (times.length && t <= times.at(-1)) return;
    [t, supply, cylinder, loss].forEach((value, i) => this.columns[i].push(value));
    while (times[0] < t - SECONDS) this.columns.forEach((column) => column.shift());
    this.draw(false);
  }

  mark(t, kind) {
    if (this.marks.some((each) => each.t === t && each.kind === kind)) return;
    this.marks = this.marks.filter((each) => each.t > t - SECONDS * 2).concat({ t, kind });
  }

  get newest() {
    const last = this.columns[0].at(-1) ?? 0;
    return this.clockS() - last > LATE_S ? this.clockS() : last;
  }

  // [from, to] of each stretch of the last minute that nothing is known of, up to now.
  missed() {
    const times = this.columns[0].length ? this.columns[0].concat(this.newest) : [];
    return times.slice(1).map((t, i) => [times[i], t]).filter(([from, to]) => to - from > GAP_S);
  }

  // The columns with a hole in each line where nothing is known.
  holed() {
    const holes = this.missed().map(([from]) => from);
    if (!holes.length) return this.columns;
    const out = this.columns.map(() => []);
    this.columns[0].forEach((t, row) => {
      this.columns.forEach((column, i) => out[i].push(column[row]));
      if (holes.includes(t)) out.forEach((column, i) => column.push(i ? null : t + 0.01));
    });
    return out;
  }

  draw(now) {
    const nowMs = performance.now();
    if (!now && nowMs - this.drawnMs < this.slow) return;
    this.drawnMs = nowMs;
    requestAnimationFrame(() => {
      if (!window.uPlot || !this.place.clientWidth) return;
      this.plot ??= this.made();
      this.plot.setData(this.holed());
    });
  }

  // Colours are the page's, so day and night need it anew.
  remake() {
    this.plot?.destroy();
    this.plot = null;
    this.draw(true);
  }

  resize() {
    if (this.plot) this.plot.setSize({ width: this.place.clientWidth, height: this.place.clientHeight });
    else this.draw(true);
  }

  made() {
    const style = getComputedStyle(document.documentElement);
    const colour = (name) => style.getPropertyValue(`--${name}`).trim();
    const rem = parseFloat(style.fontSize);
    const axis = { stroke: colour("ink"), grid: { stroke: colour("grid"), width: 1 }, ticks: { show: false },
      font: `${rem * 0.85}px system-ui, sans-serif`, space: rem * 3 };
    return new window.uPlot({
      width: this.place.clientWidth, height: this.place.clientHeight,
      legend: { show: false }, cursor: { show: false }, select: { show: false },
      padding: [rem * 0.9, 4, 0, 0],
      scales: {
        x: { time: false, range: () => [this.newest - SECONDS, this.newest] },
        p: { range: (_, low, high) => [0, Math.max(high ?? 0, 1) * 1.12] },
        loss: { range: () => [0, Math.min(100, Math.max(this.most * 1.6, 10))] },
      },
      axes: [
        { ...axis, values: (_, ticks) => ticks.map((t) => `${Math.round(t - this.newest)} s`),
          splits: () => [-60, -45, -30, -15, 0].map((s) => this.newest + s), size: rem * 2 },
        { ...axis, scale: "p", size: rem * 3.2 },
        { ...axis, scale: "loss", side: 1, grid: { show: false }, size: rem * 3.4, values: (_, ticks) => ticks.map((v) => `${v} %`) },
      ],
      series: [
        {},
        { scale: "p", stroke: colour("supply"), width: 2.5, dash: [8, 5], points: { show: false } },
        { scale: "p", stroke: colour("cylinder"), width: 2.5, points: { show: false } },
        { scale: "loss", stroke: colour("loss"), width: 3, points: { show: false } },
      ],
      hooks: { drawClear: [(u) => this.shade(u, colour)], draw: [(u) => this.drawMarks(u, colour, rem)] },
    }, this.columns, this.place);
  }

  shade(u, colour) {
    u.ctx.save(); // uPlot remembers which colour it has set
    u.ctx.fillStyle = colour("missed");
    for (const [from, to] of this.missed()) {
      const left = Math.max(u.valToPos(from, "x", true), u.bbox.left);
      u.ctx.fillRect(left, u.bbox.top, Math.max(0, u.valToPos(to, "x", true) - left), u.bbox.height);
    }
    u.ctx.restore();
  }

  drawMarks(u, colour, rem) {
    const { ctx, bbox } = u;
    const size = rem * 0.45 * devicePixelRatio;
    ctx.save();
    ctx.fillStyle = ctx.strokeStyle = colour("ink");
    ctx.font = `${rem * 0.8 * devicePixelRatio}px system-ui, sans-serif`;
    ctx.textAlign = "center";
    for (const [from, to] of this.missed()) {
      const middle = (Math.max(u.valToPos(from, "x", true), bbox.left) + u.valToPos(to, "x", true)) / 2;
      ctx.fillText("missed", middle, bbox.top + bbox.height / 2);
    }
    for (const { t, kind } of this.marks) {
      const x = u.valToPos(t, "x", true);
      if (x < bbox.left || x > bbox.left + bbox.width) continue;
      ctx.beginPath();
      if (kind === "tap") {
        ctx.moveTo(x - size, bbox.top - size * 1.6);
        ctx.lineTo(x + size, bbox.top - size * 1.6);
        ctx.lineTo(x, bbox.top);
        ctx.fill();
      } else ctx.fillRect(x - size * 0.8, bbox.top - size * 1.6, size * 1.6, size * 1.6);
      ctx.setLineDash(kind === "tap" ? [3, 5] : []);
      ctx.lineWidth = devicePixelRatio;
      ctx.beginPath();
      ctx.moveTo(x, bbox.top);
      ctx.lineTo(x, bbox.top + bbox.height);
      ctx.stroke();
    }
    ctx.restore();
  }
}
