// The house at a glance: every window on its wall, every group below.

import { ask } from "./api.js";
import { when } from "./clock.js";
import { el, set, show, write } from "./dom.js";
import { FLOOR, WindowDrawing, bandVisible, measures, wallHeight } from "./drawing.js";
import { HemBar } from "./hembar.js";
import { house } from "./live.js";
import { announce, stopSaid } from "./said.js";
import { say } from "./text.js";
import { askedFor, doing, isDoubtful, isKnown, isMoving, known, nextWords, sentence, sliderWords, sunWords, wrongWords } from "./words.js";

const LEAST_BAY_PX = 375;
const LEAST_CM_PX = 0.95;
const TINY_CM_PX = 0.55;
const MOST_CM_PX = 2.4;
const DRAWN_SHARE = 0.44; // of a bay, at most
const SMALL_SHARE = 0.38; // the same where every pixel is wanted for words
const SMALL_PX = 360;
const WIDE_CM = 170; // a wider window takes two bays
const HEAD_AND_FOOT_PX = 150;

/** Return what a drawing needs to know of a shade's cloth. */
export function clothOf(shade) {
  const { open_pct, low_pct, high_pct } = shade;
  return { open_pct, low_pct, high_pct, band: bandVisible(shade), known: isKnown(shade), sure: !isDoubtful(shade) };
}

/** The view of the whole house; `update` takes what the house says, `close` ends it. */
export class HouseView {
  constructor(said) {
    this.windows = el("div", { class: "wall" });
    this.groups = el("div", { class: "wall groups" });
    this.groupsTitle = el("h2", { class: "bare", id: "together" }, say("groups.title"));
    this.element = el("div", {}, this.windows, this.groupsTitle, this.groups);
    this.resized = () => this.#scale();
    addEventListener("resize", this.resized);
    this.update(said);
  }

  update(said) {
    const built = JSON.stringify([said.shades, said.groups].map((all) => all.map((each) => [each.id, each.name, each.window, each.members, each.drop_mm])));
    if (built !== this.built) this.#build(said);
    this.built = built;
    for (const shade of said.shades) this.bays.get(shade.id).update(shade, said);
    for (const group of said.groups) this.groupBays.get(group.id).update(group, said);
  }

  close() {
    removeEventListener("resize", this.resized);
  }

  #build(said) {
    const all = said.shades.map(measures);
    const wall = wallHeight(all);
    const of = new Map(said.shades.map((shade, at) => [shade.id, all[at]]));
    this.bays = new Map(said.shades.map((shade) => [shade.id, new ShadeBay(shade, of.get(shade.id), wall)]));
    this.groupBays = new Map(said.groups.map((group) => [group.id, new GroupBay(group, group.members.map((id) => of.get(id)), wall)]));
    this.windows.replaceChildren(...[...this.bays.values()].map((each) => each.element));
    this.groups.replaceChildren(...[...this.groupBays.values()].map((each) => each.element));
    show(this.groupsTitle, said.groups.length > 0);
    this.wall = wall;
    for (const [id, bay] of this.bays) bay.element.classList.toggle("wide", of.get(id).wide > WIDE_CM);
    const [narrow, wide] = [(each) => each.wide <= WIDE_CM, (each) => each.wide > WIDE_CM].map((some) => all.filter(some).map((each) => each.wide));
    this.widest = { narrow: Math.max(0, ...narrow), wide: Math.max(0, ...wide) };
    this.#scale();
  }

  #scale() {
    const room = document.documentElement.clientWidth;
    const count = this.bays.size;
    const rem = parseFloat(getComputedStyle(document.documentElement).fontSize) / 16;
    const cells = count + (room > 2 * LEAST_BAY_PX * rem ? this.windows.querySelectorAll(".wide").length : 0);
    const columns = Math.max(1, Math.min(cells, Math.floor(room / (LEAST_BAY_PX * rem))));
    const high = (innerHeight - HEAD_AND_FOOT_PX) / Math.ceil(cells / columns) / (this.wall + FLOOR);
    const share = room < SMALL_PX * rem ? SMALL_SHARE : DRAWN_SHARE;
    const bay = (room / columns) * share;
    const wide = Math.min(bay / (this.widest.narrow + 44), (columns > 1 ? 2.2 * bay : bay) / (this.widest.wide + 44));
    const px = Math.max(TINY_CM_PX, Math.min(MOST_CM_PX, wide, Math.max(LEAST_CM_PX * rem, high)));
    const together = Math.max(1, Math.min(this.groupBays.size, columns));
    const groups = [...this.groupBays.values()];
    const groupPx = Math.min(px, ...groups.map((each) => ((room / together) * share) / each.drawing.width));
    hang(this.windows, [...this.bays.values()], px, columns);
    hang(this.groups, groups, groupPx, together);
  }
}

/** Hang bays on a wall, at so many pixels a cm, so many beside each other. */
function hang(wall, bays, px, columns) {
  for (const bay of bays) bay.scale(px);
  wall.style.setProperty("--floor-high", `${FLOOR * px}px`);
  wall.style.setProperty("--columns", columns);
}

/** What a window and a group of windows have in common. */
class Bay {
  constructor(each, lights, wall, { path, label, level, day = null }) {
    this.name = each.name;
    this.path = path;
    this.drawing = new WindowDrawing(lights, wall);
    this.hembar = new HemBar(say(label, { name: each.name }), this.drawing, (percent) => this.#ask({ open_pct: percent }, say("asked.said", { name: each.name, percent })));
    this.percent = el("strong");
    this.about = el("p", { class: "muted" });
    this.lower = this.#button("−", "move.lower", { nudge_pct: -5 }, "nudge");
    this.higher = this.#button("+", "move.higher", { nudge_pct: 5 }, "nudge");
    this.doing = el("p", { class: "asked" });
    this.why = el("p");
    this.refusal = el("p", { class: "alert" });
    const title = el(level, { id: `name-${path.replace("/", "-")}` }, day ? el("a", { href: day, title: say("see.day.of", { name: each.name }) }, each.name) : each.name);
    this.hold = el("span");
    this.release = el("button", { type: "button", "aria-label": say("hold.release.of", { name: each.name }), onclick: () => this.#release() }, say("hold.release"));
    this.holds = el("div", { class: "holds" }, this.hold, this.release);
    this.lines = el("div", { class: "lines" });
    this.moves = [
      this.#button(say("move.up"), "move.up", { button: "up" }),
      this.#button(say("stop.one"), "stop.one", { button: "stop" }, "stop"),
      this.#button(say("move.down"), "move.down", { button: "down" }),
    ];
    this.element = el(
      "section",
      { class: "bay", "aria-labelledby": title.id },
      el("div", { class: "view" }, this.drawing.element, this.hembar.element),
      el(
        "div",
        { class: "words" },
        title,
        el("div", { class: "dial" }, this.lower, this.percent, this.higher),
        this.about,
        this.doing,
        this.why,
        this.lines,
        this.refusal,
        el("div", { class: "moves" }, this.moves),
      ),
    );
  }

  scale(px) {
    this.drawing.scale(px);
    this.hembar.place();
  }

  /** Show what both have: position, motion, reason. */
  common(each, { percent, about, words, usable }) {
    write(this.percent, percent === null ? say("open.unknown") : say(isDoubtful(each) ? "percent.about" : "percent", { percent }));
    this.percent.classList.toggle("unknown", percent === null);
    write(this.about, about);
    show(this.about, about !== "");
    write(this.doing, doing(each));
    show(this.doing, this.doing.textContent !== "");
    write(this.why, sentence(each.why));
    for (const button of [this.lower, this.higher]) show(button, percent !== null);
    for (const button of [this.lower, this.higher, this.moves[0], this.moves[2]]) able(button, usable);
    this.hembar.update({ percent, asked: askedFor(each), words, usable });
    if (isMoving(each)) write(this.refusal, "");
    show(this.refusal, this.refusal.textContent !== "");
  }

  /** Show until when the rules rest; "" when they don't. */
  held(text, usable) {
    write(this.hold, text);
    show(this.holds, text !== "");
    able(this.release, usable);
  }

  #button(text, key, body, kind = "") {
    const label = say("move.of", { what: say(key), name: this.name });
    const pressed = () => this.#ask(body, say(body.button === "down" || body.nudge_pct < 0 ? "asked.down" : "asked.up", { name: this.name }));
    return el("button", { type: "button", class: kind || null, "aria-label": label, onclick: (event) => isAble(event.currentTarget) && pressed() }, text);
  }

  async #ask(body, done) {
    write(this.refusal, "");
    const answer = await ask(`${this.path}/ask`, body);
    if (body.button === "stop") return this.#refused(stopSaid(answer));
    if (answer.taken) return announce(answer.why || done, { wrong: answer.why !== "" });
    this.#refused(say("refused", { name: this.name, why: answer.why }));
    announce(this.refusal.textContent, { wrong: true });
  }

  #refused(text) {
    write(this.refusal, text);
    show(this.refusal, text !== "");
  }

  async #release() {
    if (!isAble(this.release)) return;
    const { taken, why } = await ask(`${this.path}/release`);
    if (taken) announce(why || say("hold.released", { name: this.name }), { wrong: why !== "" });
    else announce(say("refused", { name: this.name, why }), { wrong: true });
  }
}

class ShadeBay extends Bay {
  constructor(shade, measured, wall) {
    super(shade, [measured], wall, { path: `shades/${shade.id}`, label: "slider.label", level: "h2", day: `#/day/${shade.id}` });
    this.wrong = el("p", { class: "alert" });
    this.next = el("p");
    this.sun = el("p", { class: "muted" });
    this.wants = el("a", { class: "wants", href: `#/reference/${shade.id}`, "aria-label": say("see.reference.of", { name: shade.name }) }, say("see.reference"));
    this.lines.append(this.wrong, this.holds, this.next, this.sun, this.wants);
  }

  update(shade, said) {
    this.drawing.cloth([clothOf(shade)]);
    this.drawing.light(said.sun, shade.window?.facade_azimuth_deg ?? null, shade.sun?.enters && isKnown(shade) ? shade.sun : null);
    const percent = isKnown(shade) ? shade.open_pct : null;
    const usable = house.live && shade.in_service && !said.locked && said.in_charge && shade.board !== "off";
    this.common(shade, { percent, about: percent === null ? known(shade) : say("open.known", { known: known(shade) }), words: sliderWords(shade), usable });
    write(this.wrong, wrongWords(shade));
    show(this.wrong, this.wrong.textContent !== "");
    show(this.why, shade.why !== "" && !this.wrong.textContent.includes(this.why.textContent));
    this.held(shade.hold_until ? say("hold.until", { time: when(shade.hold_until) }) : "", usable);
    write(this.next, nextWords(shade));
    show(this.next, this.next.textContent !== "");
    write(this.sun, sunWords(shade, said.sun));
    show(this.sun, this.sun.textContent !== "");
    show(this.wants, shade.alerts.some((each) => each.id === "reference"));
  }
}

class GroupBay extends Bay {
  constructor(group, lights, wall) {
    super(group, lights, wall, { path: `groups/${group.id}`, label: "slider.group", level: "h3" });
    this.names = el("p", { class: "muted" });
    this.lines.append(this.holds, this.names);
  }

  update(group, said) {
    const members = group.members.map((id) => said.shades.find((each) => each.id === id));
    this.drawing.cloth(members.map(clothOf));
    this.drawing.light(said.sun, null, null);
    const percent = group.open_pct;
    const usable = house.live && !said.locked && said.in_charge;
    this.common(group, { percent, about: percent === null ? say("open.mixed") : say("open.only"), words: say("open.percent", { percent: percent ?? 0 }), usable });
    this.held(holdOfGroup(members), usable);
    write(this.names, members.map((each) => each.name).join(", "));
  }
}

/** Return for how many of a group's shades the rules rest, and until when the last of them. */
function holdOfGroup(members) {
  const until = members.map((each) => each.hold_until).filter(Boolean);
  if (!until.length) return "";
  const time = when(until.reduce((one, other) => (Date.parse(one) > Date.parse(other) ? one : other)));
  return until.length === members.length ? say("hold.until", { time }) : say("hold.some", { time, count: until.length, all: members.length });
}

function able(button, usable) {
  set(button, { "aria-disabled": usable ? null : "true" });
}

function isAble(button) {
  return button.getAttribute("aria-disabled") !== "true";
}
