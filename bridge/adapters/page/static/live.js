// What the house says, as it says it. When it falls silent that is known within seconds and told at once.

import { setClock } from "./clock.js";

const SILENT_MS = 12_000; // two of the server's signs of life, and some
const LOOK_MS = 1_000;
const RETRY_MS = 2_000;
const HIDDEN_MS = 30_000; // a page that nobody looks at leaves its place to others

/** The last that was heard, whether it is heard now, and whether the house wants a key first. */
export const house = { said: null, live: false, heard_at: null, locked_out: false };

const listeners = new Set();
let source = null;
let last_ms = 0;
let retry = null;
let hiding = null;

/** Call `listener` after every change. */
export function onChange(listener) {
  listeners.add(listener);
}

/** Return one shade as it was last heard; null for none of that name. */
export function shadeOf(id) {
  return house.said?.shades.find((each) => each.id === id) ?? null;
}

/** Begin to listen, and never stop trying. */
export function listen() {
  connect();
  setInterval(() => {
    if (house.live && Date.now() - last_ms > SILENT_MS) lost();
  }, LOOK_MS);
  addEventListener("offline", lost);
  addEventListener("online", connect);
  document.addEventListener("visibilitychange", () => {
    clearTimeout(hiding);
    if (document.hidden) hiding = setTimeout(leave, HIDDEN_MS);
    else if (!house.live) connect();
  });
}

/** Try at once, as after a key has been given. */
export function connect() {
  clearTimeout(retry);
  source?.close();
  source = new EventSource("api/events");
  on("house", (said) => said);
  on("change", changed);
  on("sun", sunMoved);
  on("alive", () => null);
  source.addEventListener("end", lost);
  source.onerror = lost;
}

function on(name, next) {
  source.addEventListener(name, (event) => {
    const told = JSON.parse(event.data);
    const said = name === "house" || house.said ? next(told) : null;
    last_ms = Date.now();
    house.said = said ?? house.said;
    if (!house.said) return;
    setClock(house.said.timezone, told.now);
    house.heard_at = told.now;
    const returned = !house.live;
    house.live = true;
    house.locked_out = false;
    if (said || returned) tell();
  });
}

function changed({ shades = [], groups = [], house: whole = {} }) {
  return { ...house.said, ...whole, shades: replaced(house.said.shades, shades), groups: replaced(house.said.groups, groups) };
}

function replaced(all, some) {
  return all.map((each) => some.find((one) => one.id === each.id) ?? each);
}

function sunMoved({ sun, shades }) {
  return { ...house.said, sun, shades: house.said.shades.map((each) => ({ ...each, sun: shades[each.id] ?? each.sun })) };
}

function lost() {
  leave();
  retry = setTimeout(connect, RETRY_MS);
  askWhy();
}

function leave() {
  clearTimeout(retry);
  source?.close();
  house.live = false;
  tell();
}

/** An event stream does not say why it was refused; a plain request does. */
async function askWhy() {
  try {
    const { status } = await fetch("api/house");
    if (house.live || house.locked_out === (status === 401)) return;
    house.locked_out = status === 401;
    tell();
  } catch {
    // Not there at all: that is told already, and the next try is on its way.
  }
}

function tell() {
  for (const each of listeners) each(house);
}
