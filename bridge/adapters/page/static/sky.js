// The sky by the hour, and where the sun falls in a room. Angles in degrees, lengths in metres.

// Sun's elevation, colour high in the sky, colour low: painted, not measured.
const HOURS = [
  [-18, "#0a1128", "#131c3a"],
  [-12, "#101b3f", "#28335f"],
  [-6, "#24365f", "#7c6a80"],
  [-1, "#5d7aa6", "#e59c6d"],
  [4, "#8fb3d6", "#f3cf9b"],
  [15, "#83b3df", "#dfe9ee"],
  [45, "#69a5dc", "#cfe4f4"],
];
const UNTOLD = ["#a9bccb", "#dfe6ea"];
const RADIANS = Math.PI / 180;

/** Return the sky's colours, [high, low]; a plain grey where the sun is not known. */
export function skyColours(elevation) {
  if (elevation === null || elevation === undefined) return UNTOLD;
  if (elevation <= HOURS[0][0]) return HOURS[0].slice(1);
  const next = HOURS.findIndex(([at]) => at > elevation);
  if (next < 0) return HOURS.at(-1).slice(1);
  const [low, high] = [HOURS[next - 1], HOURS[next]];
  const share = (elevation - low[0]) / (high[0] - low[0]);
  return [1, 2].map((at) => mixed(low[at], high[at], share));
}

/**
 * Return the edges of the sun's patch for a window, from the wall, or null where no sun comes in.
 * @param {{azimuth_deg: number, elevation_deg: number}} sun
 * @param {{facade_azimuth_deg: number, sill_m: number, head_m: number, upper_m: number}} window
 * @param {number} hem_m - The hem bar above the floor.
 */
export function patchOf(sun, window, hem_m) {
  const away = offFacade(sun, window.facade_azimuth_deg);
  const top_m = Math.min(window.head_m, hem_m);
  if (sun.elevation_deg <= 0 || Math.abs(away) >= 90 || top_m <= window.sill_m) return null;
  const deep = Math.cos(away * RADIANS) / Math.tan(sun.elevation_deg * RADIANS);
  return { near_m: window.sill_m * deep, far_m: top_m * deep };
}

/** Return how far the sun stands to the right of straight out, -180 to 180, or null when that is not known. */
export function offFacade(sun, facade) {
  if (!sun || facade === null || facade === undefined) return null;
  return ((((sun.azimuth_deg - facade + 180) % 360) + 360) % 360) - 180;
}

function mixed(one, other, share) {
  const parts = [1, 3, 5].map((at) => {
    const [from, to] = [one, other].map((colour) => parseInt(colour.slice(at, at + 2), 16));
    return Math.round(from + (to - from) * share).toString(16).padStart(2, "0");
  });
  return `#${parts.join("")}`;
}
