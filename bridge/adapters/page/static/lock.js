// The service lock, for whoever works on the shades: what it does, and a switch that takes two deliberate acts.

import { ask } from "./api.js";
import { el, set, write } from "./dom.js";
import { house } from "./live.js";
import { announce } from "./said.js";
import { say } from "./text.js";

const TICKED_MS = 60_000; // a tick that somebody has left behind goes away again
const ON = ["stops", "nothing", "wind", "isolates", "support", "stays"];
const OFF = ["moves", "clear", "all"];

/** The view of the lock; it shows the way on while the lock is off, and the way off while it is on. */
export class LockView {
  constructor(said) {
    this.state = el("p", { class: "muted", role: "status" });
    this.title = el("h3", { tabindex: -1 });
    this.cautions = el("ul", { class: "cautions" });
    this.tick = el("input", { type: "checkbox", id: "lock-sure", onchange: () => this.#ticked() });
    this.sure = el("label", { for: "lock-sure" });
    this.button = el("button", { type: "button", class: "big", onclick: () => this.#switch() });
    this.problem = el("p", { class: "alert", role: "alert" });
    this.element = el(
      "div",
      { class: "page guide" },
      el("h2", {}, say("lock.title")),
      this.state,
      el("div", { class: "step" }, this.title, this.cautions, el("div", { class: "sure" }, this.tick, this.sure), this.button, this.problem),
      el("p", {}, el("a", { href: "#/care" }, say("lock.leave"))),
    );
    this.update(said);
  }

  update({ locked }) {
    if (locked !== this.locked) this.#turn(locked);
    this.#able();
  }

  close() {
    clearTimeout(this.timer);
  }

  #turn(locked) {
    this.locked = locked;
    this.#untick();
    write(this.problem, "");
    write(this.state, say(locked ? "lock.is.on" : "lock.is.off"));
    write(this.title, say(locked ? "lock.before.off" : "lock.before.on"));
    this.cautions.replaceChildren(...(locked ? OFF : ON).map((each) => el("li", {}, say(`lock.caution.${each}`))));
    write(this.sure, say(locked ? "lock.sure.off" : "lock.sure.on"));
    write(this.button, say(locked ? "lock.off" : "lock.on"));
  }

  #ticked() {
    clearTimeout(this.timer);
    if (this.tick.checked) this.timer = setTimeout(() => this.#untick(), TICKED_MS);
    write(this.problem, "");
    this.#able();
  }

  #untick() {
    clearTimeout(this.timer);
    this.tick.checked = false;
    this.#able();
  }

  #able() {
    set(this.button, { "aria-disabled": this.tick.checked && house.live ? null : "true" });
  }

  async #switch() {
    if (!house.live) return;
    if (!this.tick.checked) return write(this.problem, say("lock.tick"));
    const on = !this.locked;
    this.#untick();
    const { taken, why } = await ask("lock", { on });
    if (!taken) return write(this.problem, why);
    announce(say(on ? "lock.on.said" : "lock.off.said"));
    this.title.focus();
  }
}
