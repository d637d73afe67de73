// The hem bar as something to take hold of: by finger, mouse, keyboard or screen reader.
// It asks when it is let go, so that a finger on its way to another place moves nothing.

import { el, set, show, write } from "./dom.js";
import { say } from "./text.js";

const SETTLE_MS = 700; // after the last key, before it asks
const FINE_PX = 60; // so far beside the window a drag becomes four times finer
const STEPS = { ArrowUp: 1, ArrowRight: 1, ArrowDown: -1, ArrowLeft: -1, PageUp: 10, PageDown: -10 };

export class HemBar {
  /**
   * @param {string} label - What screen readers call it.
   * @param {import("./drawing.js").WindowDrawing} drawing - Where it hangs.
   * @param {(percent: number) => void} ask - Called once with what is asked for.
   */
  constructor(label, drawing, ask) {
    this.drawing = drawing;
    this.ask = ask;
    this.wanted = null;
    this.bubble = el("span", { class: "bubble", hidden: true });
    this.element = el(
      "div",
      {
        class: "hembar",
        role: "slider",
        tabindex: 0,
        "aria-label": label,
        "aria-orientation": "vertical",
        "aria-valuemin": 0,
        "aria-valuemax": 100,
        onpointerdown: (event) => this.#take(event),
        onpointermove: (event) => this.#drag(event),
        onpointerup: (event) => this.#letGo(event),
        onpointercancel: () => this.#drop(),
        onkeydown: (event) => this.#key(event),
        onblur: () => this.#settle(),
      },
      this.bubble,
    );
  }

  /** Show where it is: percent open, what has been asked for, and both in words. */
  update({ percent, asked, words, usable }) {
    this.percent = percent;
    this.asked = asked;
    this.words = words;
    this.usable = usable;
    show(this.element, percent !== null);
    if (percent === null) return this.#drop();
    set(this.element, { "aria-disabled": usable ? null : "true", tabindex: usable ? 0 : -1 });
    if (!usable) this.#drop();
    if (this.wanted === null) this.#showKnown();
  }

  /** Put it where the drawing has the hem bar. */
  place() {
    const at = this.drawing.barAt(this.wanted ?? this.percent ?? 0);
    this.element.style.setProperty("top", `${at}px`);
  }

  #take(event) {
    if (!this.usable || event.button > 0) return;
    event.preventDefault();
    this.element.focus({ preventScroll: true });
    this.element.setPointerCapture(event.pointerId);
    const box = this.element.getBoundingClientRect();
    this.held = { id: event.pointerId, x: event.clientX, y: event.clientY, at: this.percent, middle: box.left + box.width / 2 };
    this.reach = box.width / 2 + FINE_PX;
    this.element.classList.add("held");
  }

  #drag(event) {
    if (this.held?.id !== event.pointerId) return;
    const fine = Math.abs(event.clientX - this.held.middle) > this.reach ? 4 : 1;
    const moved = (event.clientY - this.held.y) / fine;
    this.held.at = this.drawing.percentAt(this.drawing.barAt(this.held.at) + moved);
    this.held.y = event.clientY;
    this.#want(Math.round(this.held.at));
  }

  #letGo(event) {
    if (this.held?.id !== event.pointerId) return;
    this.#settle();
  }

  #key(event) {
    if (!this.usable) return;
    if (event.key === "Escape") return this.#drop();
    if (event.key === "Enter" || event.key === " ") {
      event.preventDefault();
      return this.#settle();
    }
    const from = this.wanted ?? this.asked ?? this.percent;
    const to = event.key === "Home" ? 0 : event.key === "End" ? 100 : event.key in STEPS ? from + STEPS[event.key] : null;
    if (to === null) return;
    event.preventDefault();
    this.#want(Math.min(100, Math.max(0, to)));
    clearTimeout(this.timer);
    this.timer = setTimeout(() => this.#settle(), SETTLE_MS);
  }

  #want(percent) {
    if (this.wanted === percent) return;
    this.wanted = percent;
    const words = say("slider.wanted", { percent });
    set(this.element, { "aria-valuenow": percent, "aria-valuetext": words });
    write(this.bubble, say("percent", { percent }));
    show(this.bubble, true);
    this.drawing.asked(percent);
    this.place();
  }

  #settle() {
    const wanted = this.wanted;
    this.#drop();
    if (wanted !== null && this.usable) this.ask(wanted);
  }

  #drop() {
    clearTimeout(this.timer);
    const had = this.wanted !== null;
    this.wanted = null;
    this.held = null;
    this.element.classList.remove("held");
    show(this.bubble, false);
    if (had) this.#showKnown();
  }

  #showKnown() {
    set(this.element, { "aria-valuenow": this.percent, "aria-valuetext": this.words });
    this.drawing.asked(this.asked);
    this.place();
  }
}
