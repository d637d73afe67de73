// What is known of a shade, in sentences.

import { when } from "./clock.js";
import { offFacade } from "./sky.js";
import { bound, say } from "./text.js";

const MOVING = new Set(["raising", "lowering", "referencing"]);
const AHEAD_DEG = 12;
const FARTHEST_M = 20; // what the house tells at most

/** Return whether a shade is known well enough to be drawn with a hem bar. */
export function isKnown(shade) {
  return shade.open_pct !== null && shade.grade !== "unknown";
}

/** Return whether a shade at rest is known so badly that its hem bar is only about there. */
export function isDoubtful(shade) {
  return shade.grade === "doubtful" && !isMoving(shade);
}

/** Return whether something moves. */
export function isMoving(each) {
  return each.motion === null || MOVING.has(each.motion);
}

/** Return how well a shade's position is known. */
export function known(shade) {
  if (!isKnown(shade)) return say("known.anywhere");
  const to = say("known.mm", { mm: Math.ceil(shade.width_mm) });
  const [low, high] = [Math.max(0, Math.floor(shade.low_pct)), Math.min(100, Math.ceil(shade.high_pct))];
  if (isMoving(shade)) return say("known.moving", { low, high });
  return shade.grade === "doubtful" ? `${to}; ${say("known.between", { low, high })}` : to;
}

/** Return where a shade is, how well that is known and what it is doing. */
export function standsWords(shade) {
  const open = isKnown(shade) ? say(isDoubtful(shade) ? "open.about" : "open.percent", { percent: shade.open_pct }) : say("open.unknown");
  return [open, known(shade), doing(shade)].filter(Boolean).join("; ");
}

/** Return what has been asked of a shade or a group and is not reached yet, in percent; null for nothing. */
export function askedFor(each) {
  if ("members" in each) return isMoving(each) ? each.target_pct : null;
  return each.asked?.open_pct ?? null;
}

/** Return what it is doing; "" when it stands still and nothing is asked for. */
export function doing(each) {
  const asked = askedFor(each);
  if (each.motion === null) return say("motion.mixed");
  if (MOVING.has(each.motion)) {
    const motion = say(`motion.${each.motion}`);
    return asked === null || each.motion === "referencing" ? motion : say("motion.to", { motion, percent: asked });
  }
  return asked === null ? "" : say("asked.waiting", { percent: asked });
}

/** Return what the slider says to a screen reader. */
export function sliderWords(shade) {
  const values = { percent: shade.open_pct, asked: askedFor(shade), known: known(shade) };
  return say(values.asked === null || values.asked === values.percent ? "slider.words" : "slider.asked", values);
}

/** Return what the sun does at a window; "" where that is not known. */
export function sunWords(shade, sun) {
  const away = offFacade(sun, shade.window?.facade_azimuth_deg);
  if (away === null) return "";
  if (!shade.sun?.lit) return "";
  const from = Math.abs(away) <= AHEAD_DEG ? "sun.ahead" : away < 0 ? "sun.left" : "sun.right";
  const words = say(from, { up: Math.round(sun.elevation_deg) });
  if (!shade.sun.enters) return say("sun.outside", { sun: words });
  const deep = shade.sun.far_m < FARTHEST_M ? "sun.depth" : "sun.far";
  return say(isKnown(shade) ? deep : "sun.perhaps", { sun: words, metres: shade.sun.far_m });
}

/** Return what comes next; "" when nothing is planned. */
export function nextWords(shade) {
  if (!shade.next) return "";
  const { utc, open_pct, why } = shade.next;
  return say("next.move", { time: when(utc), percent: open_pct, why });
}

/** Return what is wrong with it, but for a wanted reference, which has its own link; "" when nothing is. */
export function wrongWords(shade) {
  if (!shade.in_service) return say("service.out");
  const board = shade.board === "up" ? [] : [say(`board.${shade.board}`)];
  const others = shade.alerts.filter((each) => !["board", "reference"].includes(each.id));
  return [...board, ...others.map((each) => sentence(each.text))].join(" ");
}

/** Return a text of the house, which begins small and ends without a stop, as a sentence. */
export function sentence(text) {
  return text ? bound(`${text[0].toUpperCase()}${text.slice(1)}${/[.!?]$/.test(text) ? "" : "."}`) : "";
}

/** Return where a reference was met. */
export function placeWords(landmark) {
  return say(`place.${landmark.replaceAll(" ", "-")}`);
}

/**
 * Return what needs a person, `[{ text, shades }]`: one thing that concerns several shades is one thing. No shades means the
 * house; a wanted reference is of one shade and has `reference`.
 */
export function thingsToDo(said) {
  const found = new Map(said.alerts.map(({ text }) => [text, { text, shades: [], reference: false }]));
  for (const shade of said.shades) {
    for (const { id, text } of shade.alerts) {
      const reference = id === "reference";
      const key = reference ? shade.id : text;
      if (!found.has(key)) found.set(key, { text, shades: [], reference });
      found.get(key).shades.push(shade);
    }
  }
  return [...found.values()];
}
