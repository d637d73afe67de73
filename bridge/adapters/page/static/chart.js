// Charts of a day, drawn by uPlot (vendor/uplot, MIT); it is fetched when the first chart is wanted.

import { houseZone, time } from "./clock.js";
import { el } from "./dom.js";

const FOLDER = "vendor/uplot";
let fetched = null;

/** Fetch the library once. */
export function chartLibrary() {
  fetched ??= new Promise((resolve, reject) => {
    const script = el("script", { src: `${FOLDER}/uPlot.iife.min.js` });
    script.onload = () => resolve(globalThis.uPlot);
    script.onerror = () => {
      fetched = null;
      script.remove();
      reject(new Error("uPlot"));
    };
    document.head.append(el("link", { rel: "stylesheet", href: `${FOLDER}/uPlot.min.css` }), script);
  });
  return fetched;
}

/**
 * A chart over one day.
 * @param {object} library - What `chartLibrary` gives.
 * @param {Element} into - Where it goes; it takes its width.
 * @param {{ x: number[], high: number, unit: string, range: number[]|null, series: object[], spans: number[][] }} drawn
 *   Instants in s, height in px, the unit on the axis, least and greatest of y, `{ y, colour, width, dash, fill, step }`, shaded
 *   stretches of x.
 */
export class DayChart {
  constructor(library, into, drawn) {
    this.into = into;
    this.at = null;
    this.drawn = drawn;
    this.plot = new library(this.#options(library), [drawn.x, ...drawn.series.map((each) => each.y)], into);
    this.watch = new ResizeObserver(() => this.plot.setSize({ width: this.#width(), height: drawn.high }));
    this.watch.observe(into);
  }

  /** Draw a line at an instant in s. */
  mark(at) {
    this.at = at;
    this.plot.redraw(false);
  }

  close() {
    this.watch.disconnect();
    this.plot.destroy();
  }

  #width() {
    return Math.max(160, Math.floor(this.into.clientWidth));
  }

  #options(library) {
    const { high, unit, range, series } = this.drawn;
    const [ink, hair] = ["--muted", "--hair"].map(colour);
    const font = `12px ${getComputedStyle(document.body).fontFamily}`;
    const axis = { stroke: ink, font, grid: { stroke: hair, width: 1 }, ticks: { stroke: hair, width: 1, size: 4 } };
    return {
      width: this.#width(),
      height: high,
      padding: [8, 10, 0, 0],
      legend: { show: false },
      cursor: { show: false },
      tzDate: (at) => library.tzDate(new Date(at * 1e3), houseZone()),
      scales: { x: { time: true }, y: { range: range ? () => range : (_, least, most) => [0, Math.max(1, most * 1.1)] } },
      axes: [
        { ...axis, space: 46, size: 26, values: (_, splits) => splits.map((each) => time(each * 1e3)) },
        { ...axis, space: 24, size: 52, values: (_, splits) => splits.map((each) => `${each} ${unit}`) },
      ],
      series: [{}, ...series.map((each) => line(library, each))],
      hooks: { drawClear: [(plot) => this.#spans(plot)], draw: [(plot) => this.#now(plot)] },
    };
  }

  #spans(plot) {
    const { ctx, bbox } = plot;
    ctx.save();
    ctx.fillStyle = colour("--wall-deep");
    for (const [from, to] of this.drawn.spans) {
      const [left, right] = [from, to].map((each) => plot.valToPos(each, "x", true));
      ctx.fillRect(left, bbox.top, right - left, bbox.height);
    }
    ctx.restore();
  }

  #now(plot) {
    if (this.at === null) return;
    const { ctx, bbox } = plot;
    const x = plot.valToPos(this.at, "x", true);
    ctx.save();
    ctx.strokeStyle = colour("--ink");
    ctx.lineWidth = 2 * devicePixelRatio;
    ctx.setLineDash([]);
    ctx.beginPath();
    ctx.moveTo(x, bbox.top);
    ctx.lineTo(x, bbox.top + bbox.height);
    ctx.stroke();
    ctx.restore();
  }
}

function line(library, { colour: named, width, dash, fill, step }) {
  const paths = step ? library.paths.stepped({ align: 1 }) : library.paths.linear();
  return { stroke: colour(named), width, dash, paths, points: { show: false }, fill: fill ? colour(fill) : undefined };
}

function colour(name) {
  return getComputedStyle(document.documentElement).getPropertyValue(name).trim();
}
