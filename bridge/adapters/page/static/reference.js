// A reference, led step by step on the phone, for a person who stands at the window.

import { ask } from "./api.js";
import { now, time } from "./clock.js";
import { el, set, show, write } from "./dom.js";
import { FLOOR, WindowDrawing, measures, wallHeight } from "./drawing.js";
import { clothOf } from "./house.js";
import { house } from "./live.js";
import { say } from "./text.js";
import { isMoving, standsWords } from "./words.js";

const CAUTIONS = ["stand", "hands", "support", "power", "device"];
const DRAWN_PX = 0.8;

/** The steps: `cautions`, `mark`, then `going`, `jog` and `done`; for a switch `seeking` in their place. */
export class ReferenceView {
  constructor(said, id) {
    this.id = id;
    this.shade = said.shades.find((each) => each.id === id);
    this.step = "cautions";
    if (!this.shade) {
      this.element = el("p", { class: "bare" }, say("reference.none"));
      this.update = () => {};
      return;
    }
    this.drawing = new WindowDrawing([measures(this.shade)], wallHeight([measures(this.shade)]));
    this.drawing.scale(DRAWN_PX);
    this.state = el("p", { class: "muted", role: "status" });
    this.problem = el("p", { class: "alert", role: "alert" });
    this.body = el("div", { class: "step" });
    this.leave = el("p", {}, el("a", { href: "#/care" }, say("reference.leave")));
    this.title = el("h2", {}, say("reference.title", { name: this.shade.name }));
    this.element = el(
      "div",
      { class: "page guide" },
      this.title,
      el("div", { class: "room" }, el("div", { class: "view" }, this.drawing.element), el("div", {}, this.state)),
      this.body,
      this.problem,
      this.leave,
    );
    this.element.style.setProperty("--floor-high", `${FLOOR * DRAWN_PX}px`);
    this.#enter("cautions");
    this.update(said);
  }

  update(said) {
    this.shade = said.shades.find((each) => each.id === this.id) ?? this.shade;
    const { shade } = this;
    this.drawing.cloth([clothOf(shade)]);
    this.drawing.asked(shade.asked?.open_pct ?? null);
    this.drawing.light(said.sun, null, null);
    write(this.state, standsWords(shade));
    for (const each of this.body.querySelectorAll("button")) set(each, { "aria-disabled": house.live ? null : "true" });
    if (this.step === "jog") write(this.until, this.#awake());
    if (this.step === "done") write(this.result, this.#result());
    this.#follow();
  }

  #awake() {
    const { until } = this.shade.reference;
    return until ? say("reference.until", { time: time(until) }) : "";
  }

  /** Return how well it is known now: at its switch it may still have to come to rest. */
  #result() {
    return say("reference.result", { grade: say(`grade.${this.shade.grade}`), mm: Math.ceil(this.shade.width_mm) });
  }

  /** Begin, or go on with what has been begun before. */
  #ready() {
    const { state, place } = this.shade.reference;
    this.place = place;
    this.#begin();
    this.#enter({ none: "mark", running: "seeking", approaching: "going", waiting: "jog" }[state]);
  }

  /** Go on when the house says that the shade has got so far. */
  #follow() {
    const { reference, last_reference } = this.shade;
    const anew = last_reference !== null && last_reference.utc !== this.before;
    if (this.step === "going" && reference.state === "waiting") this.#enter("jog");
    if (this.step === "seeking" && anew && !isMoving(this.shade)) this.#enter("done");
    if (this.step === "confirmed" && anew) this.#enter("done");
    const given_up = reference.state === "none" && !isMoving(this.shade) && this.shade.asked === null && now() - this.began > 3000;
    if ((this.step === "going" || this.step === "seeking") && given_up && !anew) this.#enter(this.step === "going" ? "alone" : "unfound");
  }

  #enter(step) {
    const moved = this.step !== step;
    this.step = step;
    show(this.leave, step !== "done");
    write(this.problem, "");
    this.body.replaceChildren(...this.#content()[step]());
    if (!moved) return;
    this.body.querySelector("h3").focus();
  }

  #content() {
    const place = this.place ? say(`place.${this.place}`) : "";
    const head = (key) => el("h3", { tabindex: -1 }, say(key, { place }));
    const button = (key, onclick, kind) => el("button", { type: "button", class: kind ?? "big", onclick: (event) => event.currentTarget.getAttribute("aria-disabled") !== "true" && onclick() }, say(key, { place }));
    const stop = () => button("stop.one", () => this.#ask("ask", { button: "stop" }), "big stop");
    const paragraph = (key) => el("p", {}, say(key, { place }));
    return {
      cautions: () => [
        head("reference.cautions"),
        el("ul", { class: "cautions" }, CAUTIONS.map((each) => el("li", {}, say(`reference.caution.${each}`)))),
        button("reference.ready", () => this.#ready()),
      ],
      mark: () => [
        head("reference.which"),
        this.shade.reference.ways.includes("switch") ? button("reference.switch", () => this.#seek()) : null,
        button("reference.lower", () => this.#approach("lower")),
        button("reference.upper", () => this.#approach("upper")),
      ].filter(Boolean),
      seeking: () => [head("reference.seeking"), paragraph("reference.seeking.how"), stop()],
      unfound: () => [head("reference.unfound"), paragraph("reference.unfound.how"), button("reference.again", () => this.#enter("mark"))],
      going: () => [head("reference.going"), paragraph("reference.going.how"), stop()],
      jog: () => {
        this.until = el("p", { class: "muted" }, this.#awake());
        return [head("reference.jog"), paragraph("reference.jog.how"), this.until, button("reference.there", () => this.#confirm()), stop()];
      },
      alone: () => [head("reference.alone"), paragraph("reference.alone.how"), button("reference.there", () => this.#confirm()), stop()],
      confirmed: () => [head("reference.confirmed"), paragraph("reference.confirmed.how")],
      done: () => [
        head("reference.done"),
        (this.result = el("p", { role: "status" }, this.#result())),
        button("reference.other", () => this.#enter("mark"), "plain"),
        el("a", { class: "button", href: "#/" }, say("reference.house")),
      ],
    };
  }

  async #approach(place) {
    this.place = place;
    this.#begin();
    const why = await this.#ask("approach", { place });
    this.#enter(why === "" ? "going" : "alone");
    write(this.problem, why);
    this.#follow();
  }

  async #seek() {
    this.#begin();
    const why = await this.#ask("refer");
    if (why === "") this.#enter("seeking");
  }

  async #confirm() {
    this.before = this.shade.last_reference?.utc ?? null;
    const why = await this.#ask("confirm", { place: this.place });
    if (why !== "") return;
    this.#enter("confirmed");
    this.#follow();
  }

  #begin() {
    this.before = this.shade.last_reference?.utc ?? null;
    this.began = now();
  }

  async #ask(what, body = {}) {
    const { taken, why } = await ask(`shades/${this.id}/${what}`, body);
    write(this.problem, taken ? "" : why);
    show(this.problem, true);
    return taken ? "" : why;
  }
}
