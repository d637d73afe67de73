// A window drawn from the room, to scale: wall, glass, sky, cloth down to the hem bar, the band of doubt, the light.
// One unit of a drawing is a centimetre; heights are above the floor.

import { set, svg } from "./dom.js";
import { offFacade, skyColours } from "./sky.js";

const TUBE = 7; // height of the roller's box
const BAR = 4.6; // height of the hem bar
const SILL = 3.5; // height of the board under the glass
const MARGIN = 22; // wall to the left and right of the frame
const ABOVE = 20; // wall above the tube
export const FLOOR = 62; // the strip of floor that is drawn
const FORESHORTENED = 0.3; // a metre into the room, seen at a slant
const HALFWAY_M = 1.8; // so deep into the room is half way down the strip of floor, so that a low sun stays on it
const EYE = 150; // from where somebody looks out, to place the sun's disc
const EYE_AWAY = 200;
const FAR = 9999; // wall and floor go on as far as anybody sees
const DUSK_DEG = -4; // the land outside is dark below it
const VISIBLE_PCT = 1;
const VISIBLE_MM = 10;
let serial = 0;

/** Return a window's measures in cm for the drawing: what is not told is drawn as usual windows are. */
export function measures(shade) {
  const drop = shade.drop_mm / 10;
  const window = shade.window;
  const upper = window ? window.upper_m * 100 : Math.max(220, drop + 10);
  const head = window ? window.head_m * 100 : upper;
  const sill = window ? window.sill_m * 100 : upper - drop;
  return { drop, upper, head, sill, wide: shade.cloth_width_mm ? shade.cloth_width_mm / 10 : Math.min(110, 0.8 * drop) };
}

/** Return how much wall a house's windows need, in cm. */
export function wallHeight(all) {
  return Math.max(...all.map((each) => Math.max(each.upper + TUBE, each.head)), 200) + ABOVE;
}

/** Return whether a band is wide enough to be seen. */
export function bandVisible(shade) {
  return shade.width_mm > VISIBLE_MM || shade.high_pct - shade.low_pct > VISIBLE_PCT;
}

export class WindowDrawing {
  /** Draw one window with a pane for each of `lights`: `[{ measures }]`; a group has several. */
  constructor(lights, wall) {
    this.wall = wall;
    this.id = `w${++serial}`;
    this.lights = lights;
    const gap = lights.length > 1 ? 8 : 0;
    const scale = lights.length > 1 ? Math.min(1, 190 / lights.reduce((sum, each) => sum + each.wide, 0)) : 1;
    let x = MARGIN;
    this.panes = lights.map((each) => {
      const pane = new Pane({ ...each, wide: each.wide * scale }, x, wall, this.id);
      x += each.wide * scale + gap;
      return pane;
    });
    this.width = x - gap + MARGIN;
    this.height = wall + FLOOR;
    this.sky = [svg("stop", { offset: 0 }), svg("stop", { offset: 1 })];
    this.patch = svg("polygon", { class: "patch", "clip-path": `url(#${this.id}-floor)` });
    this.ray = svg("polygon", { class: "ray", fill: `url(#${this.id}-ray)`, "clip-path": `url(#${this.id}-room)` });
    this.element = svg(
      "svg",
      { class: "drawing", viewBox: `0 0 ${this.width} ${this.height}`, "aria-hidden": "true", focusable: "false" },
      svg(
        "defs",
        {},
        svg("linearGradient", { id: `${this.id}-sky`, x1: 0, y1: 0, x2: 0, y2: 1 }, this.sky),
        svg("linearGradient", { id: `${this.id}-ray`, gradientUnits: "userSpaceOnUse", x1: 0, x2: this.width }, faded(MARGIN / this.width)),
        svg("clipPath", { id: `${this.id}-floor` }, svg("rect", { x: -400, y: wall, width: 1200, height: FLOOR })),
        svg("clipPath", { id: `${this.id}-room` }, svg("rect", { x: -400, y: 0, width: 1200, height: wall + FLOOR })),
      ),
      svg("rect", { class: "floor", x: -FAR, y: wall, width: 2 * FAR, height: FLOOR + 10 }),
      this.patch,
      this.panes.map((each) => each.back),
      this.ray,
      this.panes.map((each) => each.front),
    );
  }

  /** Scale it to so many pixels a cm. */
  scale(px) {
    this.px = px;
    set(this.element, { width: this.width * px, height: this.height * px });
  }

  /** Return where the hem bar is at a percent open, in px from the top of the drawing. */
  barAt(percent) {
    return this.panes[0].yAt(percent) * this.px;
  }

  /** Return the percent open of a height in the drawing, 0 to 100. */
  percentAt(px) {
    const { upper, drop } = this.lights[0];
    return Math.min(100, Math.max(0, 100 - (100 * (px / this.px - (this.wall - upper))) / drop));
  }

  /** Show where the cloth of each pane is: `[{ open_pct, low_pct, high_pct, band, known, sure }]`. */
  cloth(lights) {
    this.panes.forEach((pane, at) => pane.cloth(lights[at]));
  }

  /** Show what has been asked for and is not reached; null for nothing. */
  asked(percent) {
    this.panes.forEach((pane) => pane.asked(percent));
  }

  /**
   * Show the sky, and the sun's patch on the floor.
   * @param {{azimuth_deg: number, elevation_deg: number}|null} sun
   * @param {number|null} facade - Where the wall looks to, clockwise from north.
   * @param {{near_m: number, far_m: number}|null} patch - Its edges, measured from the wall; null for none.
   */
  light(sun, facade, patch) {
    const [high, low] = skyColours(sun?.elevation_deg);
    set(this.sky[0], { "stop-color": high });
    set(this.sky[1], { "stop-color": low });
    this.element.classList.toggle("night", sun !== null && sun.elevation_deg < DUSK_DEG);
    for (const pane of this.panes) pane.sun(sun, facade);
    const shines = patch !== null && sun !== null && facade !== null && patch.far_m > patch.near_m;
    for (const each of [this.patch, this.ray]) set(each, { visibility: shines ? "visible" : "hidden" });
    if (shines) this.#shine(-Math.tan((offFacade(sun, facade) * Math.PI) / 180), patch);
  }

  #shine(aside, patch) {
    const { measures: measured, x: left } = this.panes[0];
    const right = left + measured.wide;
    const landing = (metres) => {
      const deep = (FLOOR * metres) / (metres + HALFWAY_M);
      return [near((deep / FORESHORTENED) * aside, measured.wide), this.wall + deep];
    };
    const [begins, ends] = [landing(patch.near_m), landing(patch.far_m)];
    const corners = [left, right].map((side) => [side + begins[0], begins[1]]);
    const floor = [...corners, [right + ends[0], ends[1]], [left + ends[0], ends[1]]];
    set(this.patch, { points: floor.join(" ") });
    const sill = this.wall - measured.sill + SILL;
    set(this.ray, { points: [[left, sill], [right, sill], ...corners.reverse()].join(" ") });
  }
}

/** One pane of glass with its own roller. */
class Pane {
  constructor(measured, x, wall, id) {
    this.measures = measured;
    this.x = x;
    this.wall = wall;
    const { wide, head, sill, upper } = measured;
    const glass = { x, y: wall - head, width: wide, height: head - sill };
    this.disc = svg("circle", { class: "disc", r: 7, "clip-path": `url(#${id}-glass${x.toFixed()})` });
    this.full = svg("rect", { class: "cloth", x: x - 2, y: wall - upper, width: wide + 4 });
    this.weave = svg("rect", { class: "weave", x: x - 2, y: wall - upper, width: wide + 4 });
    this.band = svg("rect", { class: "band", x: x - 2, width: wide + 4 });
    this.bar = svg("rect", { class: "bar", x: x - 4, width: wide + 8, height: BAR, rx: BAR / 2 });
    this.ghost = svg("rect", { class: "ghost", visibility: "hidden", x: x - 4, width: wide + 8, height: BAR, rx: BAR / 2 });
    this.ghostWay = svg("path", { class: "way", visibility: "hidden" });
    this.back = svg(
      "g",
      {},
      svg("clipPath", { id: `${id}-glass${x.toFixed()}` }, svg("rect", glass)),
      svg("rect", { ...glass, class: "glass", fill: `url(#${id}-sky)` }),
      this.disc,
      svg("path", { class: "land", d: land(x, wide, wall - sill, Math.min(head - sill, 46)) }),
      svg("rect", { ...glass, class: "frame" }),
      svg("path", { class: "mullion", d: `M${x + wide / 2} ${wall - head}V${wall - sill}` }),
      svg("rect", { class: "sill", x: x - 6, y: wall - sill, width: wide + 12, height: SILL }),
    );
    this.front = svg(
      "g",
      {},
      this.full,
      this.weave,
      this.band,
      svg("rect", { class: "tube", x: x - 6, y: wall - upper - TUBE, width: wide + 12, height: TUBE, rx: 3 }),
      this.ghostWay,
      this.ghost,
      this.bar,
    );
  }

  yAt(percent) {
    return this.wall - this.measures.upper + ((100 - percent) / 100) * this.measures.drop;
  }

  cloth({ open_pct, low_pct, high_pct, band, known, sure }) {
    this.bar.classList.toggle("unsure", !sure);
    const top = this.wall - this.measures.upper;
    const covered = this.yAt(known ? (band ? Math.min(high_pct, 100) : open_pct) : 100);
    for (const each of [this.full, this.weave]) set(each, { height: Math.max(0, covered - top) });
    const lowest = this.yAt(known ? Math.max(low_pct, -4) : 0);
    set(this.band, { y: covered, height: Math.max(0, lowest - covered) });
    set(this.band, { visibility: band || !known ? "visible" : "hidden" });
    set(this.bar, { visibility: known ? "visible" : "hidden", y: this.yAt(open_pct ?? 0) - BAR / 2 });
    this.open = known ? open_pct : null;
  }

  asked(percent) {
    const shown = percent !== null && percent !== this.open;
    for (const each of [this.ghost, this.ghostWay]) set(each, { visibility: shown ? "visible" : "hidden" });
    if (!shown) return;
    const y = this.yAt(percent);
    set(this.ghost, { y: y - BAR / 2 });
    const middle = this.x + this.measures.wide / 2;
    const down = this.open === null || percent < this.open;
    const from = this.open === null ? y : this.yAt(this.open) + (down ? 5 : -5);
    const to = y + (down ? -4 : 4);
    const wing = down ? -5 : 5;
    const far = Math.abs(to - from) > 8;
    set(this.ghostWay, { d: far ? `M${middle} ${from}V${to}m-4 ${wing}l4 ${-wing}l4 ${wing}` : "" });
  }

  sun(sun, facade) {
    const away = sun && sun.elevation_deg > -1 ? offFacade(sun, facade) : null;
    const seen = away !== null && Math.abs(away) < 75;
    set(this.disc, { visibility: seen ? "visible" : "hidden" });
    if (!seen) return;
    const aside = Math.tan((away * Math.PI) / 180) * EYE_AWAY;
    const up = (Math.tan((sun.elevation_deg * Math.PI) / 180) / Math.cos((away * Math.PI) / 180)) * EYE_AWAY;
    set(this.disc, { cx: this.x + this.measures.wide / 2 + aside, cy: this.wall - EYE - up });
  }
}

/** Return a way aside, in cm, brought near enough that the patch of a sun from far aside is still on the floor that is drawn. */
function near(aside, wide) {
  const most = aside < 0 ? MARGIN + wide * 0.4 : wide * 1.6;
  return most * Math.tanh(aside / most);
}

/** Return the stops of a beam that has gone before it comes to the words beside a window; `edge` is the wall's share. */
function faded(edge) {
  return [[0, 0], [edge, 1], [1 - edge, 1], [1, 0]].map(([offset, opacity]) => svg("stop", { class: "ray-stop", offset, "stop-opacity": opacity }));
}

/** Return the outline of some land outside, as a path. */
function land(x, wide, bottom, high) {
  const y = (share) => bottom - high * share;
  return (
    `M${x} ${bottom}V${y(0.62)}C${x + wide * 0.2} ${y(0.9)} ${x + wide * 0.35} ${y(0.86)} ${x + wide * 0.55} ${y(0.6)}` +
    `S${x + wide * 0.85} ${y(0.42)} ${x + wide} ${y(0.55)}V${bottom}Z`
  );
}
