// What the page asks of the house. Every answer ends in words for a person; nothing is asked for twice.

import { shadeOf } from "./live.js";
import { say } from "./text.js";

const PATIENCE_MS = 10_000;

/** Ask for something to be done; return `{ taken, why, heard }`: `heard` when the house itself has answered. */
export async function ask(path, body = {}) {
  try {
    const answer = await fetch(`api/${path}`, {
      method: "POST",
      headers: { "Content-Type": "application/json", "X-Hembar": "1" },
      body: JSON.stringify(body),
      signal: AbortSignal.timeout(PATIENCE_MS),
    });
    if (answer.ok) return { taken: true, heard: true, why: refusedMembers((await answer.json()).refused) };
    return { taken: false, heard: true, why: await refusal(answer) };
  } catch (error) {
    return { taken: false, heard: false, why: say(error.name === "TimeoutError" ? "refused.slow" : "refused.away") };
  }
}

/** Return what is asked about; throws an error whose message is for a person. */
export async function look(path, parameters = {}) {
  const query = new URLSearchParams(Object.entries(parameters).filter(([, value]) => value));
  let answer;
  try {
    answer = await fetch(`api/${path}${query.size ? `?${query}` : ""}`, { signal: AbortSignal.timeout(2 * PATIENCE_MS) });
  } catch {
    throw new Error(say("look.away"));
  }
  if (!answer.ok) throw new Error(await refusal(answer));
  return answer.json();
}

/** Return which members of a group could not, and why; "" when all could. */
function refusedMembers(refused = []) {
  return refused.map(({ shade, why }) => say("refused", { name: shadeOf(shade)?.name ?? shade, why })).join("; ");
}

async function refusal(answer) {
  try {
    const { problem, remedy } = await answer.json();
    return [problem, remedy].filter(Boolean).join("; ");
  } catch {
    return say("look.failed", { status: answer.status });
  }
}
