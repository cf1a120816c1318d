/**
 * One request with its body's progress, which `fetch` cannot tell. Ends by itself when nothing moves any more, as after
 * a closed laptop or a changed network.
 */

/** @typedef {import("./tus.js").Request} Request */
/** @typedef {import("./tus.js").Reply} Reply */

const STILL_MS = 40_000;

/**
 * @param {Request} request
 * @param {(bytes: number) => void} sent
 * @param {AbortSignal | null} stop
 * @returns {Promise<Reply | null>} null when no answer came
 */
export function ask(request, sent, stop) {
  return new Promise((resolve) => {
    const wire = new XMLHttpRequest();
    let still = setTimeout(() => wire.abort(), STILL_MS);
    const moved = () => {
      clearTimeout(still);
      still = setTimeout(() => wire.abort(), STILL_MS);
    };
    const end = () => wire.abort();
    stop?.addEventListener("abort", end);
    wire.upload.addEventListener("progress", ({ loaded }) => {
      moved();
      sent(loaded);
    });
    wire.upload.addEventListener("load", moved);
    wire.addEventListener("loadend", () => {
      clearTimeout(still);
      stop?.removeEventListener("abort", end);
      resolve(wire.status ? replyOf(wire) : null);
    });
    wire.open(request.method, request.address);
    wire.setRequestHeader("Accept", "application/json");
    for (const [name, value] of Object.entries(request.headers)) wire.setRequestHeader(name, value);
    wire.send(request.body ?? null);
  });
}

/**
 * @param {XMLHttpRequest} wire
 * @returns {Reply}
 */
function replyOf(wire) {
  return { status: wire.status, header: (name) => wire.getResponseHeader(name), text: wire.responseText };
}
