// Care: what needs a person, references, boards, drift, and the journal of moves and reasons.

import { look } from "./api.js";
import { ago, exact } from "./clock.js";
import { el, set, show, write } from "./dom.js";
import { say } from "./text.js";
import { placeWords, sentence, thingsToDo } from "./words.js";

const TYPED_MS = 350;
const AGAIN_MS = 30_000;
const MET_SHOWN = 5;

/** The view of what a house needs. */
export class CareView {
  constructor(said) {
    this.said = said;
    this.trouble = el("p", { class: "alert", role: "status" });
    this.wanted = el("ul", { class: "entries" });
    this.calm = el("p", {}, say("care.calm"));
    this.references = el("ul", { class: "entries" });
    this.boards = el("ul", { class: "entries" });
    this.drift = el("div", {});
    this.journal = new Journal(said);
    this.element = el(
      "div",
      { class: "page care-page" },
      this.trouble,
      section("care.wanted", this.calm, this.wanted),
      section("care.references", el("p", { class: "muted" }, say("care.references.how")), this.references),
      section("care.boards", this.boards),
      section("care.drift", el("p", { class: "muted" }, say("care.drift.how")), this.drift),
      section("care.work", el("p", { class: "muted" }, say("care.work.how")), el("a", { class: "button", href: "#/lock" }, say("lock.see"))),
      section("care.journal", this.journal.element),
    );
    this.update(said);
    this.#look();
    this.timer = setInterval(() => this.#look(), AGAIN_MS);
  }

  update(said) {
    this.said = said;
    const name = (id) => said.shades.find((each) => each.id === id)?.name ?? id;
    const todo = thingsToDo(said);
    const seen = JSON.stringify([todo.map((each) => [each.text, each.shades.map((shade) => shade.id)]), said.shades.map((each) => [each.grade, each.width_mm, each.last_reference, each.motion])]);
    if (seen === this.seen) return;
    this.seen = seen;
    show(this.calm, todo.length === 0);
    this.wanted.replaceChildren(...todo.map((each) => thing(each)));
    this.references.replaceChildren(...said.shades.map((each) => this.#reference(each)));
    if (this.told) this.#boards(name);
  }

  close() {
    clearInterval(this.timer);
    this.journal.close();
    this.closed = true;
  }

  async #look() {
    try {
      const told = await look("care");
      if (this.closed) return;
      const changed = JSON.stringify([told.boards, told.shades]);
      write(this.trouble, "");
      if (changed === this.changed) return;
      this.changed = changed;
      this.told = told;
      this.#boards((id) => told.shades.find((each) => each.id === id)?.name ?? id);
      this.drift.replaceChildren(...told.shades.map((each) => drift(each)));
    } catch (error) {
      write(this.trouble, error.message);
    }
  }

  #reference(shade) {
    const last = shade.last_reference;
    const text = [
      say(`grade.${shade.grade}`),
      shade.grade === "unknown" ? "" : say("known.mm", { mm: Math.ceil(shade.width_mm) }),
      last ? say("care.last", { when: ago(last.utc), place: placeWords(last.place) }) : say("care.never"),
    ];
    return entry(shade.name, text.filter(Boolean).join("; "), lead(shade));
  }

  #boards(name) {
    this.boards.replaceChildren(
      ...this.told.boards.map((each) => {
        const boot = each.boot === null ? "" : say("care.boot", { boot: String(each.boot) });
        const item = entry(each.id, [say(`board.state.${each.state}`), boot, each.shades.map(name).join(", ")].filter(Boolean).join("; "));
        item.classList.toggle("bad", each.state === "lost" || each.state === "off");
        return item;
      }),
    );
  }
}

/** The journal, searched as one types; older entries are fetched when asked for. */
class Journal {
  constructor(said) {
    this.search = el("input", { type: "search", id: "search", oninput: () => this.#soon() });
    this.shade = el(
      "select",
      { id: "of-shade", onchange: () => this.#fetch() },
      el("option", { value: "" }, say("journal.all")),
      said.shades.map((each) => el("option", { value: each.id }, each.name)),
    );
    this.names = new Map(said.shades.map((each) => [each.id, each.name]));
    this.status = el("p", { role: "status", class: "muted" });
    this.list = el("ol", { class: "journal" });
    this.more = el("button", { type: "button", hidden: true, onclick: () => this.#fetch(this.older) }, say("journal.older"));
    this.element = el(
      "div",
      {},
      el(
        "form",
        { class: "row", role: "search", onsubmit: (event) => event.preventDefault() },
        el("div", { class: "field" }, el("label", { for: "search" }, say("journal.search")), this.search),
        el("div", { class: "field" }, el("label", { for: "of-shade" }, say("journal.shade")), this.shade),
      ),
      this.status,
      this.list,
      this.more,
    );
    this.#fetch();
  }

  close() {
    clearTimeout(this.timer);
  }

  #soon() {
    clearTimeout(this.timer);
    this.timer = setTimeout(() => this.#fetch(), TYPED_MS);
  }

  async #fetch(before = null) {
    const turn = (this.turn = (this.turn ?? 0) + 1);
    try {
      const told = await look("journal", { search: this.search.value.trim(), shade: this.shade.value, before });
      if (turn !== this.turn) return;
      const items = told.entries.map((each) => this.#entry(each));
      if (before === null) this.list.replaceChildren(...items);
      else this.list.append(...items);
      this.older = told.older;
      show(this.more, told.older !== null);
      write(this.status, this.list.childElementCount ? say("journal.count", { count: this.list.childElementCount }) : say("journal.none"));
    } catch (error) {
      if (turn === this.turn) write(this.status, error.message);
    }
  }

  #entry({ utc, shade, level, text }) {
    return el(
      "li",
      { class: level === "error" ? "bad" : level === "warning" ? "odd" : null },
      el("time", { datetime: utc }, exact(utc)),
      el("span", { class: "of" }, shade === null ? say("care.house") : (this.names.get(shade) ?? shade)),
      el("span", {}, text),
    );
  }
}

function section(key, ...content) {
  const title = el("h2", { id: key.replace(".", "-") }, say(key));
  return el("section", { "aria-labelledby": title.id }, title, content);
}

function entry(name, text, ...more) {
  return el("li", {}, el("strong", {}, name), el("span", {}, text), more);
}

function thing({ text, shades, reference }) {
  const names = shades.map((each) => each.name).join(", ") || say("care.house");
  return entry(names, sentence(text), reference ? lead(shades[0]) : null);
}

function lead(shade) {
  const label = say("see.reference.of", { name: shade.name });
  return el("a", { class: "button", href: `#/reference/${encodeURIComponent(shade.id)}`, "aria-label": label }, say("see.reference"));
}

/** One shade's drive: what the references say of it. */
function drift({ name, health }) {
  const lines = [
    say("drift.worn", { count: health.moves, turns: Math.round(health.turns), growth: health.growth_mm_a_move }),
    health.days_to_doubt === null ? say("drift.steady") : health.days_to_doubt === 0 ? say("drift.now") : say("drift.days", { count: Math.round(health.days_to_doubt) }),
    health.scale ? say("drift.scale", { factor: health.scale.factor.toFixed(4), sure: health.scale.sure.toFixed(4) }) : say("drift.noscale"),
    health.slip ? say("drift.slip", { mm: health.slip.mm_per_move.toFixed(2), sure: health.slip.sure_mm.toFixed(2) }) : "",
    ...health.happenings.map((each) => say(each.off_mm > 0 ? "drift.lower" : "drift.higher", { mm: Math.round(Math.abs(each.off_mm)), after: exact(each.after), before: exact(each.before) })),
  ];
  const met = health.met.slice(-MET_SHOWN).reverse();
  return el(
    "details",
    { open: health.proposals.length > 0 || health.happenings.length > 0 },
    el("summary", {}, el("strong", {}, name), health.proposals.length ? el("span", { class: "alert" }, ` ${say("drift.proposes")}`) : null),
    el("ul", {}, lines.filter(Boolean).map((each) => el("li", {}, each))),
    health.proposals.map((each) => el("p", { class: "proposal" }, el("code", {}, `${each.key} = ${each.value}`), " ", say("drift.because", { why: each.why }))),
    met.length ? metTable(name, met) : null,
  );
}

function metTable(name, met) {
  const rows = met.map((each) => {
    const off = each.off_mm === null ? say("drift.first") : say("drift.off", { mm: each.off_mm.toFixed(1) });
    const cells = [exact(each.utc), placeWords(each.landmark), off, each.inside === null ? "" : say(each.inside ? "drift.inside" : "drift.outside")];
    const row = el("tr", {}, cells.map((cell) => el("td", {}, cell)));
    set(row, { class: each.inside === false ? "bad" : null });
    return row;
  });
  const heads = ["drift.when", "drift.where", "drift.error", "drift.claim"].map((each) => el("th", { scope: "col" }, say(each)));
  return el("div", { class: "scrolled", tabindex: 0, role: "region", "aria-label": say("drift.met", { name }) }, el("table", {}, el("thead", {}, el("tr", {}, heads)), el("tbody", {}, rows)));
}
