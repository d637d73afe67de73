// Times as the clocks of the house show them, wherever the page is looked at.

import { language, say } from "./text.js";

let zone = "UTC";
let ahead_ms = 0;

/** Take the house's time zone, and its clock at this moment. */
export function setClock(timezone, now_utc) {
  zone = timezone || "UTC";
  if (now_utc) ahead_ms = Date.parse(now_utc) - Date.now();
}

/** Return the instant on the house's clock. */
export function now() {
  return new Date(Date.now() + ahead_ms);
}

/** Return the time zone of the house. */
export function houseZone() {
  return zone;
}

/** Return a clock time, with the day where it is not today. */
export function when(utc) {
  const at = new Date(utc);
  return dateOf(at) === dateOf(now()) ? time(at) : format(at, { weekday: "short", hour: "2-digit", minute: "2-digit" });
}

/** Return a clock time. */
export function time(utc) {
  return format(new Date(utc), { hour: "2-digit", minute: "2-digit" });
}

/** Return a clock time with date and seconds. */
export function exact(utc) {
  const fields = { weekday: "short", day: "numeric", month: "short", hour: "2-digit", minute: "2-digit", second: "2-digit" };
  return format(new Date(utc), fields);
}

/** Return a date, as 2026-06-21, in words. */
export function day(date) {
  return format(new Date(`${date}T12:00:00Z`), { timeZone: "UTC", weekday: "long", day: "numeric", month: "long" });
}

/** Return the date so many days from today, by the house's clocks; some days there have 23 or 25 hours. */
export function dateIn(days) {
  const noon = new Date(`${dateOf(now())}T12:00:00Z`);
  noon.setUTCDate(noon.getUTCDate() + days);
  return noon.toISOString().slice(0, 10);
}

/** Return the date on the house's clocks, as 2026-06-21. */
export function dateOf(at) {
  return new Intl.DateTimeFormat("en-CA", { timeZone: zone, dateStyle: "short" }).format(at);
}

/** Return how long ago something was, in words. */
export function ago(utc) {
  const minutes = Math.max(0, Math.round((now() - Date.parse(utc)) / 60000));
  if (minutes < 1) return say("ago.now");
  if (minutes < 90) return say("ago.minutes", { count: minutes });
  const hours = Math.round(minutes / 60);
  return hours < 36 ? say("ago.hours", { count: hours }) : say("ago.days", { count: Math.round(hours / 24) });
}

function format(at, fields) {
  return new Intl.DateTimeFormat(language, { timeZone: zone, hourCycle: "h23", ...fields }).format(at);
}
