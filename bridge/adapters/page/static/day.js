// A day of each window: the sun, the plan, what really happened; the time can be moved to see the room.

import { look } from "./api.js";
import { DayChart, chartLibrary } from "./chart.js";
import { dateIn, day as dayWords, now, time } from "./clock.js";
import { el, set, show, svg, write } from "./dom.js";
import { FLOOR, WindowDrawing, measures, wallHeight } from "./drawing.js";
import { clothOf } from "./house.js";
import { patchOf, skyColours } from "./sky.js";
import { say } from "./text.js";
import { askedFor, isKnown, sentence, standsWords, sunWords } from "./words.js";

const DAYS = [-1, 0, 1];
const AGAIN_MS = 300_000;
const DRAWN_PX = 0.85;
const REST_MS = 5_000;
const FAR_M = 6; // a low sun reaches any depth; more than this is not drawn
const dark = matchMedia("(prefers-color-scheme: dark)");

/** The view of a day; `only` is one shade's id, or "" for all. */
export class DayView {
  constructor(said, only) {
    this.said = said;
    this.only = only;
    this.offset = 0;
    this.title = el("h2", {});
    this.days = DAYS.map((offset) => el("button", { type: "button", onclick: () => this.#open(offset) }, say(`day.${offset}`)));
    this.trouble = el("p", { role: "status" });
    this.strip = svg("svg", { class: "sky-strip", viewBox: "0 0 288 60", preserveAspectRatio: "none", "aria-hidden": "true" });
    this.scrub = el("input", { type: "range", min: 0, step: 1, id: "scrub", oninput: () => this.#moved({ follows: false }) });
    this.at = el("output", { for: "scrub" });
    this.back = el("button", { type: "button", class: "plain", onclick: () => this.#toNow() }, say("day.now"));
    this.windows = el("div", { class: "days" });
    this.timeline = el(
      "div",
      { class: "timeline", hidden: true },
      el("div", { class: "row" }, el("label", { for: "scrub" }, say("day.scrub")), this.at, this.back),
      el("div", { class: "sky" }, this.strip, this.scrub),
    );
    this.element = el(
      "div",
      { class: "page" },
      el("div", { class: "row" }, this.title, el("div", { class: "row", role: "group", "aria-label": say("day.which") }, this.days)),
      only ? el("p", {}, el("a", { href: "#/day" }, say("day.all"))) : null,
      this.trouble,
      this.timeline,
      this.windows,
    );
    this.recoloured = () => this.told && this.#draw();
    dark.addEventListener("change", this.recoloured);
    // On a wall the day goes on by itself, unless somebody is looking at another time.
    this.timer = setInterval(() => this.follows && this.#open(0), AGAIN_MS);
    this.#open(0);
  }

  update(said) {
    this.said = said;
    if (this.follows) this.#toNow();
  }

  close() {
    dark.removeEventListener("change", this.recoloured);
    clearInterval(this.timer);
    this.#clear();
    this.closed = true;
  }

  async #open(offset) {
    const another = offset !== this.offset || !this.told;
    this.offset = offset;
    this.follows = false;
    this.days.forEach((each, at) => set(each, { "aria-pressed": String(DAYS[at] === offset) }));
    const date = dateIn(offset);
    write(this.title, dayWords(date));
    if (another) this.#empty(say("day.working"));
    try {
      const [library, told] = await Promise.all([chartLibrary(), look("day", { date, shade: this.only })]);
      if (this.closed || this.offset !== offset) return;
      [this.library, this.told] = [library, told];
      this.#draw();
    } catch (error) {
      if (this.offset === offset) this.#empty(error.message, { wrong: true });
    }
  }

  /** Show nothing but a text. */
  #empty(text, how) {
    this.#say(text, how);
    this.#clear();
    show(this.timeline, false);
  }

  #say(text, { wrong = false } = {}) {
    this.trouble.classList.toggle("alert", wrong);
    write(this.trouble, text);
  }

  #clear() {
    for (const each of this.shades ?? []) each.close();
    this.shades = [];
    this.windows.replaceChildren();
  }

  #draw() {
    const read = new Set([...this.windows.querySelectorAll("details[open]")].map((each) => each.dataset.of));
    this.#clear();
    const shades = this.said.shades.filter((each) => this.told.shades[each.id]);
    this.#say(shades.length ? "" : say("day.none"));
    show(this.timeline, shades.length > 0);
    if (!shades.length) return;
    const wall = wallHeight(shades.map(measures));
    this.shades = shades.map((shade) => new ShadeDay(shade, this.told, wall, this.library));
    this.windows.replaceChildren(...this.shades.map((each) => each.element));
    for (const each of this.windows.querySelectorAll("details")) each.open = read.has(each.dataset.of);
    for (const each of this.shades) each.drawn();
    set(this.scrub, { max: this.told.utc_s.length - 1 });
    this.#paintSky();
    this.#toNow();
  }

  /** Return the index of this moment, or -1 on another day. */
  #index() {
    const { utc_s, step_s } = this.told;
    return this.offset === 0 ? Math.min(utc_s.length - 1, Math.floor((now().getTime() / 1e3 - utc_s[0]) / step_s)) : -1;
  }

  #toNow() {
    this.scrub.value = this.offset === 0 ? this.#index() : Math.round(this.told.utc_s.length / 2);
    show(this.back, this.offset === 0);
    this.#moved();
  }

  #moved({ follows = this.offset === 0 } = {}) {
    this.follows = follows;
    const index = Number(this.scrub.value);
    const up = this.told.sun_elevation_deg[index];
    const live = index === this.#index();
    const clock = time(live ? now() : this.told.utc_s[index] * 1e3);
    write(this.at, clock);
    set(this.scrub, { "aria-valuetext": say(up > 0 ? "day.at.sun" : "day.at.night", { time: clock, up: Math.round(up) }) });
    for (const each of this.shades) each.show(index, live ? this.said : null);
  }

  #paintSky() {
    const all = this.told.sun_elevation_deg;
    const hours = Array.from({ length: 25 }, (_, hour) => Math.min(all.length - 1, Math.round((hour / 24) * all.length)));
    const stops = hours.map((at) => svg("stop", { offset: at / (all.length - 1), "stop-color": skyColours(all[at])[0] }));
    const y = (up) => 45 - up * 0.6;
    const path = all.map((up, at) => `${at ? "L" : "M"}${((at / (all.length - 1)) * 288).toFixed(1)} ${y(up).toFixed(1)}`).join("");
    this.strip.replaceChildren(
      svg("defs", {}, svg("linearGradient", { id: "sky-of-day" }, stops)),
      svg("rect", { width: 288, height: 60, fill: "url(#sky-of-day)" }),
      svg("path", { class: "sun-path", d: path }),
      svg("path", { class: "horizon", d: `M0 ${y(0)}H288` }),
    );
  }
}

/** One window's day. */
class ShadeDay {
  constructor(shade, told, wall, library) {
    this.shade = shade;
    this.told = told;
    this.day = told.shades[shade.id];
    this.library = library;
    this.x = instants(told.utc_s, this.day.happened);
    this.course = sampled(this.day.happened, this.x);
    this.real = sampled(this.day.happened, told.utc_s);
    this.drawing = new WindowDrawing([measures(shade)], wall);
    this.drawing.scale(Math.min(DRAWN_PX, 170 / this.drawing.width));
    this.words = el("p", {});
    this.percent = el("div", { class: "chart", role: "img", "aria-label": this.#summary() });
    this.depth = el("div", { class: "chart", role: "img", "aria-label": say("day.depth.chart", { name: shade.name, metres: most(this.day.far_m), up: most(this.day.far_up_m) }) });
    this.wind = el("div", { class: "chart", role: "img", "aria-label": say("day.wind.chart", { name: shade.name, mps: most(this.course.gust) }) });
    this.windy = this.course.gust.some((each) => each !== null);
    const title = el("h3", { id: `day-${shade.id}` }, shade.name);
    this.element = el(
      "section",
      { class: "shade-day", "aria-labelledby": title.id },
      el("div", { class: "room" }, el("div", { class: "view" }, this.drawing.element), el("div", {}, title, this.words)),
      el(
        "div",
        { class: "charts" },
        el("ul", { class: "keys" }, ["plan", "expected", "real", "held"].map((each) => key(each))),
        this.percent,
        el("ul", { class: "keys" }, ["up", "depth", this.day.limit_m === null ? null : "limit"].filter(Boolean).map((each) => key(each))),
        this.depth,
        this.windy ? [el("ul", { class: "keys" }, key("gust")), this.wind] : null,
        el("details", { "data-of": shade.id }, el("summary", {}, say("day.list")), this.#list()),
      ),
    );
    this.element.style.setProperty("--floor-high", `${FLOOR * this.drawing.px}px`);
  }

  /** Draw the charts, once the element has its place and width. */
  drawn() {
    const { planned_pct, rules_pct, far_up_m, far_m, limit_m } = this.day;
    const { x, course } = this;
    const held = (all) => x.map((at) => all[this.#before(at)]);
    const capped = (all) => x.map((at) => Math.min(between(this.told, all, at), FAR_M));
    const spans = stretches(x, course.held);
    const percents = [
      { y: held(rules_pct), colour: "--muted", width: 1, step: true },
      { y: held(planned_pct), colour: "--asked", width: 2, dash: [6, 4], step: true },
      { y: course.open, colour: "--ink", width: 3, step: true },
    ];
    const depths = [
      { y: capped(far_up_m), colour: "--patch", width: 1, fill: "--patch" },
      { y: capped(far_m), colour: "--asked", width: 2, dash: [6, 4] },
      ...(limit_m === null ? [] : [{ y: x.map(() => limit_m), colour: "--care", width: 1.5, dash: [2, 4] }]),
    ];
    this.charts = [
      new DayChart(this.library, this.percent, { x, high: 150, unit: "%", range: [-2, 104], series: percents, spans }),
      new DayChart(this.library, this.depth, { x, high: 110, unit: "m", range: null, series: depths, spans: [] }),
    ];
    if (!this.windy) return;
    const gusts = [{ y: course.gust, colour: "--wind", width: 2, step: true }];
    this.charts.push(new DayChart(this.library, this.wind, { x, high: 100, unit: "m/s", range: null, series: gusts, spans: [] }));
  }

  /** Show the room at an index of the day; `said` is the house as it is, when that is now. */
  show(index, said) {
    const shade = said?.shades.find((each) => each.id === this.shade.id);
    if (shade) this.#showNow(shade, said.sun);
    else this.#showThen(index);
    if (index !== this.marked) for (const each of this.charts) each.mark(this.told.utc_s[index]);
    this.marked = index;
  }

  #showNow(shade, sun) {
    this.drawing.cloth([clothOf(shade)]);
    this.drawing.asked(askedFor(shade));
    this.drawing.light(sun, shade.window?.facade_azimuth_deg ?? null, shade.sun?.enters && isKnown(shade) ? shade.sun : null);
    write(this.words, [sentence(standsWords(shade)), sentence(shade.why), sunWords(shade, sun)].filter(Boolean).join(" "));
  }

  #showThen(index) {
    const { utc_s, sun_elevation_deg, sun_azimuth_deg } = this.told;
    const past = utc_s[index] * 1e3 <= now().getTime();
    const was = this.real.told[index] && past;
    // Of a time that has gone and that the journal tells nothing of, only the plan is known.
    const open = was ? this.real.open[index] : past ? null : this.day.planned_pct[index];
    const known = open !== null;
    this.drawing.asked(past && !was ? this.day.planned_pct[index] : null);
    this.drawing.cloth([{ open_pct: open, low_pct: 0, high_pct: 100, band: false, known, sure: true }]);
    const sun = { elevation_deg: sun_elevation_deg[index], azimuth_deg: sun_azimuth_deg[index] };
    const { window, drop_mm } = this.shade;
    const hem_m = window.upper_m - (1 - (known ? open : 100) / 100) * (drop_mm / 1000);
    const patch = known && this.day.lit[index] ? patchOf(sun, window, hem_m) : null;
    this.drawing.light(sun, window.facade_azimuth_deg, patch);
    write(this.words, this.#sentence(index, { was, past, open, patch }));
  }

  close() {
    for (const each of this.charts ?? []) each.close();
  }

  /** Return the index of the last instant of the plan that is not after `at`. */
  #before(at) {
    const { utc_s, step_s } = this.told;
    return Math.min(utc_s.length - 1, Math.floor((at - utc_s[0]) / step_s));
  }

  #sentence(index, { was, past, open, patch }) {
    const percent = open === null ? null : Math.round(open);
    const untold = past && !was ? say("day.untold", { percent: Math.round(this.day.planned_pct[index]) }) : say("day.was.unknown");
    const parts = [
      percent === null ? untold : say(was ? "day.was" : "day.will", { percent }),
      was && this.real.held[index] ? say("day.was.held") : "",
      !this.day.lit[index] ? say("day.nosun") : percent === null ? "" : patch ? say("day.sun", { metres: Math.min(patch.far_m, 20) }) : say("day.sun.out"),
      was && this.real.gust[index] !== null ? say("day.gust", { mps: this.real.gust[index] }) : "",
    ];
    return parts.filter(Boolean).join(" ");
  }

  #summary() {
    return say("day.percent.chart", { name: this.shade.name, count: this.day.moves.length });
  }

  #list() {
    const moves = this.day.moves.map((each) => [each.utc, say(each.to_pct < each.from_pct ? "day.lowered" : "day.raised", { percent: Math.round(each.to_pct) })]);
    const happened = rests(this.day.happened).map((each) => [each.utc, each.open_pct === null ? say("day.was.unknown") : say("day.was", { percent: Math.round(each.open_pct) })]);
    const rows = [...moves, ...happened].sort(([one], [other]) => Date.parse(one) - Date.parse(other));
    return el("ol", { class: "happenings" }, rows.map(([utc, text]) => el("li", {}, el("time", { datetime: utc }, time(utc)), " ", text)));
  }
}

function key(kind) {
  return el("li", { class: `key key-${kind}` }, say(`day.key.${kind}`));
}

function most(all) {
  return Math.max(0, ...all.map((each) => each ?? 0));
}

/** Return where it came to rest: what it passed on the way is in the picture only. */
function rests(happened) {
  const ended = happened.filter((each, at) => at === happened.length - 1 || Date.parse(happened[at + 1].utc) - Date.parse(each.utc) > REST_MS);
  return ended.filter((each, at) => at === 0 || each.open_pct !== ended[at - 1].open_pct);
}

/** Lay what happened, which tells changes only, over the day's instants. */
function sampled(happened, utc_s) {
  const found = { open: [], held: [], gust: [], told: [] };
  // What happened since the last instant stands at the next one.
  const latest = now().getTime() / 1e3 + (utc_s.length > 1 ? utc_s[1] - utc_s[0] : 0);
  let next = 0;
  let last = null;
  for (const at of utc_s) {
    while (next < happened.length && Date.parse(happened[next].utc) / 1e3 <= at) last = happened[next++];
    const told = last !== null && at <= latest;
    found.open.push(told ? last.open_pct : null);
    found.held.push(told && last.held);
    found.gust.push(told ? last.gust_mps : null);
    found.told.push(told);
  }
  return found;
}

/** Return the plan's instants and those at which something happened, in s, in order. */
function instants(utc_s, happened) {
  const [first, last] = [utc_s[0], utc_s.at(-1)];
  const own = happened.map((each) => Date.parse(each.utc) / 1e3);
  const latest = now().getTime() / 1e3;
  return [...new Set([...utc_s, ...own, latest])].filter((at) => at >= first && at <= last).sort((one, other) => one - other);
}

/** Return a value between the plan's instants. */
function between({ utc_s, step_s }, all, at) {
  const place = Math.min((at - utc_s[0]) / step_s, all.length - 1);
  const index = Math.floor(place);
  return all[index] + (place - index) * ((all[index + 1] ?? all[index]) - all[index]);
}

function stretches(x, flags) {
  const found = [];
  flags.forEach((flag, at) => {
    if (flag && !flags[at - 1]) found.push([x[at], x[at]]);
    if (flag) found.at(-1)[1] = x[at + 1] ?? x[at];
  });
  return found;
}
