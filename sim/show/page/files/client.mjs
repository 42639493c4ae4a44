// The page's way to its engine: a worker made of the engine's own text, or the same text in the page itself.

const PATIENCE_MS = 4000;

/** Return `ask(request)` once the engine has answered for the first time. */
export async function startEngine(text) {
  try {
    return await inWorker(text);
  } catch {
    return inPage(text);
  }
}

/** Start a worker; refuse where it does not answer. */
async function inWorker(text) {
  const address = URL.createObjectURL(new Blob([text], { type: "text/javascript" }));
  const worker = new Worker(address);
  const waiting = new Map();
  let number = 0;
  worker.onmessage = ({ data }) => {
    const { resolve, reject } = waiting.get(data.id);
    waiting.delete(data.id);
    if (data.fault === undefined) resolve(data.result);
    else reject(new Error(data.fault));
  };
  const ask = (request) => new Promise((resolve, reject) => {
    number += 1;
    waiting.set(number, { resolve, reject });
    worker.postMessage({ ...request, id: number });
  });
  const refused = new Promise((_, reject) => {
    worker.onerror = (event) => {
      event.preventDefault();
      reject(new Error("the worker did not start"));
    };
    setTimeout(() => reject(new Error("the worker does not answer")), PATIENCE_MS);
  });
  refused.catch(() => {});
  await Promise.race([ask({ kind: "evaluate", variant: 0, choices: [] }), refused]);
  return ask;
}

/** Run the engine in the page: the text is one that the page's own policy names. */
function inPage(text) {
  const script = document.createElement("script");
  script.textContent = text;
  document.head.append(script);
  return globalThis.aislewakeEngine();
}
