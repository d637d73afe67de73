// The frame around the views: the tube with the views' names, what holds for the whole house, the hem bar with the stop.

import { ask } from "./api.js";
import { now, time } from "./clock.js";
import { el, set, show, svg, write } from "./dom.js";
import { HouseView } from "./house.js";
import { connect, house, listen, onChange } from "./live.js";
import { announce, line, stopSaid } from "./said.js";
import { language, say } from "./text.js";
import { thingsToDo } from "./words.js";

const TICK_MS = 5_000;
const views = {
  "": async (said) => new HouseView(said),
  day: async (said, id) => new (await import("./day.js")).DayView(said, id),
  care: async (said) => new (await import("./care.js")).CareView(said),
  reference: async (said, id) => new (await import("./reference.js")).ReferenceView(said, id),
  lock: async (said) => new (await import("./lock.js")).LockView(said),
};

const FROM_CARE = new Set(["reference", "lock"]);

const title = el("h1");
const hour = el("span", { class: "hour" });
const number = el("span");
const things = el("span", { class: "unseen" });
const count = el("span", { class: "count", hidden: true }, number, " ", things);
const links = ["", "day", "care"].map((name) =>
  el("a", { href: `#/${name}` }, el("span", {}, say(`nav.${name || "house"}`)), name === "care" ? count : null),
);
const lost = el("div", { class: "banner lost", role: "alert", hidden: true });
const banners = el("div", { role: "region", "aria-label": say("banner.label") });
const main = el("main", { id: "view", tabindex: -1 });
const waiting = el("p", { class: "bare" }, say("live.opening"));
const pause = el("button", { type: "button", class: "rest", hidden: true, onclick: switchPause });
const stop = el("button", { type: "button", onclick: stopAll }, say("stop.all"));

let view = null;
let shown = null;
let version = null;

function frame() {
  document.documentElement.lang = language;
  document.body.append(
    el("a", { class: "skip", href: "#view", onclick: skip }, say("nav.skip")),
    patterns(),
    el("header", { class: "tube-head" }, title, hour, el("nav", { "aria-label": say("nav.label") }, el("ul", {}, links.map((each) => el("li", {}, each))))),
    lost,
    banners,
    main,
    el("footer", { class: "foot" }, line, el("div", { class: "rod" }, pause, stop)),
  );
  main.append(waiting);
}

function patterns() {
  return svg(
    "svg",
    { width: 0, height: 0, "aria-hidden": "true", class: "patterns" },
    svg("defs", {},
      svg("pattern", { id: "weave", width: 5, height: 5, patternUnits: "userSpaceOnUse" },
        svg("path", { class: "pattern-weave", d: "M0 0H5M0 2.5H5M1 0V5M3.5 0V5", "stroke-width": 0.5 })),
      svg("pattern", { id: "doubt", width: 7, height: 7, patternUnits: "userSpaceOnUse", patternTransform: "rotate(45)" },
        svg("rect", { class: "pattern-doubt-ground", width: 7, height: 7 }),
        svg("path", { class: "pattern-doubt", d: "M0 0V7" }))),
  );
}

/** Show a field for the key; a link that carries one fills it in by itself. */
function askForKey() {
  if (main.querySelector("form")) return;
  const key = el("input", { id: "key", type: "password", autocomplete: "current-password", required: true });
  const wrong = el("p", { class: "alert", role: "alert" });
  const form = el(
    "form",
    {
      class: "bare entry",
      onsubmit: async (event) => {
        event.preventDefault();
        write(wrong, await enter(key.value));
      },
    },
    el("h2", {}, say("key.title")),
    el("p", {}, say("key.how")),
    el("label", { for: "key" }, say("key.label")),
    key,
    el("button", {}, say("key.enter")),
    wrong,
  );
  main.replaceChildren(form);
}

async function enter(key) {
  const { taken, why } = await ask("enter", { key });
  if (taken) connect();
  return why;
}

/** Take the key out of the link, so that it stays in no history and on no picture of the screen. */
async function keyOfLink() {
  const found = /^#key=(.+)$/.exec(location.hash);
  if (!found) return;
  history.replaceState(null, "", location.pathname);
  await enter(decodeURIComponent(found[1]));
}

function skip(event) {
  event.preventDefault();
  main.focus();
}

async function route() {
  if (!house.said) return;
  const [, name = "", id = ""] = location.hash.replace(/^#/, "").split("/");
  const wanted = `${name}/${id}`;
  if (wanted === shown) return;
  shown = wanted;
  const opened = await (views[name] ?? views[""])(house.said, decodeURIComponent(id));
  if (shown !== wanted) return opened.close?.();
  const first = view === null;
  view?.close?.();
  view = opened;
  main.replaceChildren(view.element);
  links.forEach((each, at) => set(each, { "aria-current": ["", "day", "care"][at] === (FROM_CARE.has(name) ? "care" : name) ? "page" : null }));
  if (first) return;
  main.scrollTop = 0;
  scrollTo(0, 0); // where the screen is too low for a middle of its own
  main.focus({ preventScroll: true });
}

function told() {
  document.body.classList.toggle("stale", !house.live);
  const asof = house.heard_at ? say("live.asof", { time: time(house.heard_at) }) : say("live.never");
  write(lost, house.live ? "" : house.locked_out ? say("live.key") : asof);
  show(lost, !house.live);
  set(pause, { "aria-disabled": house.live ? null : "true" });
  if (!house.said) return house.locked_out ? askForKey() : undefined;
  const { name, paused } = house.said;
  version ??= house.said.version;
  if (version !== house.said.version) return location.reload(); // the bridge has another page now
  document.title = say("page.title", { house: name });
  write(title, name);
  show(pause, true);
  write(pause, say(paused ? "pause.off" : "pause.on"));
  const todo = thingsToDo(house.said).length;
  write(number, String(todo));
  write(things, say("nav.care.wanted", { count: todo }));
  show(count, todo > 0);
  banner(house.said);
  view?.update(house.said);
  tick();
  route();
}

function banner(said) {
  const texts = [
    said.broker_up ? null : ["live.broker", true],
    said.in_charge ? null : ["live.charge", true],
    said.locked ? ["live.locked", true] : null,
    said.paused ? ["live.resting", false] : null,
  ].filter(Boolean);
  const key = JSON.stringify(texts);
  if (banners.dataset.shown === key) return;
  banners.dataset.shown = key;
  const unlock = () => el("a", { href: "#/lock" }, say("lock.see"));
  banners.replaceChildren(...texts.map(([text, care]) => el("p", { class: care ? "banner care" : "banner" }, say(text), text === "live.locked" ? unlock() : null)));
}

function tick() {
  write(hour, house.said ? time(now()) : "");
  show(hour, house.live);
}

async function stopAll() {
  stopSaid(await ask("stop"));
}

async function switchPause() {
  if (!house.live || !house.said) return;
  const on = !house.said.paused;
  const { taken, why } = await ask("pause", { on });
  announce(taken ? say(on ? "pause.on.said" : "pause.off.said") : why, { wrong: !taken });
}

frame();
onChange(told);
addEventListener("hashchange", route);
setInterval(tick, TICK_MS);
keyOfLink().finally(listen);
