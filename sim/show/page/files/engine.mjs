// The computing side of the page, a worker where the browser lets us: opens a site, evaluates settings.
// Asked {id, kind: "open", site} or {id, kind: "evaluate", variant, choices}
// or {id, kind: "hour", variant, hour} or {id, kind: "glow", variant, settings, from, to}; answers {id, result} or {id, fault}.

import { evaluate } from "./books.mjs";
import { glowSite } from "./glow.mjs";
import { unpackHour, unpackSite } from "./unpack.mjs";

/** Return a function that answers requests. */
export function makeEngine() {
  const sites = [];
  return async ({ kind, site, variant, choices, hour, settings, from, to }) => {
    if (kind === "open") {
      sites.push(await unpackSite(site));
      return null;
    }
    if (kind === "hour") return unpackHour(sites[variant].playback.hours[hour]);
    if (kind === "glow") return glowSite(sites[variant], settings, 0, from, to);
    const began = performance.now();
    const outcomes = choices.map((choice) => evaluate(sites[variant], choice));
    return { outcomes, took_ms: performance.now() - began };
  };
}

if (typeof WorkerGlobalScope !== "undefined") {
  const answer = makeEngine();
  let queue = Promise.resolve();
  globalThis.onmessage = ({ data }) => {
    queue = queue.then(async () => {
      try {
        globalThis.postMessage({ id: data.id, result: await answer(data) });
      } catch (error) {
        globalThis.postMessage({ id: data.id, fault: String(error) });
      }
    });
  };
} else {
  globalThis.aislewakeEngine = makeEngine;
}
