// One line at the foot of the page that says what has just been asked for, or why it was refused.

import { el, write } from "./dom.js";
import { say } from "./text.js";

const SHOWN_MS = 6_000;
const WRONG_MS = 15_000;
export const line = el("p", { class: "said", role: "status" });
let timer = null;

/** Say something for a while; `wrong` when a person should act. */
export function announce(text, { wrong = false } = {}) {
  clearTimeout(timer);
  line.classList.toggle("wrong", wrong);
  write(line, text);
  timer = setTimeout(() => write(line, ""), wrong ? WRONG_MS : SHOWN_MS);
}

/** Say what became of a stop, and what to do when it did not leave; return that, or "". */
export function stopSaid({ taken, heard, why }) {
  const wrong = taken ? why : say(heard ? "stop.refused" : "stop.failed", { why });
  announce(taken ? [say("stop.said"), why].filter(Boolean).join(" ") : wrong, { wrong: wrong !== "" });
  return taken ? "" : wrong;
}
