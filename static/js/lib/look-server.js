/** The server behind a check, as a phone on a weak line sees it: one try at a time, and nothing but its own JSON. */

/** @typedef {import("./outbox.js").Reply} Reply */

const GIVE_UP_MS = 15_000;

export class Server {
  /**
   * @param {string} at address of the check
   * @param {string} token the form's key
   * @param {(away: boolean) => void} told whether the network is away, after each try
   */
  constructor(at, token, told) {
    this.at = at;
    this.token = token;
    this.told = told;
  }

  /**
   * One try; null when nothing of ours answered in time.
   * @param {string} path
   * @param {object | null} body null: only asked
   * @param {string} must a field that our reply has
   * @param {number} patience in ms
   * @returns {Promise<Reply | null>}
   */
  async once(path, body, must, patience = GIVE_UP_MS) {
    const reply = await this.#tried(path, body, must, patience);
    this.told(!reply);
    return reply;
  }

  /**
   * @param {string} path
   * @param {object | null} body
   * @param {string} must
   * @param {number} patience
   * @returns {Promise<Reply | null>}
   */
  async #tried(path, body, must, patience) {
    const headers = { Accept: "application/json", "Content-Type": "application/json", "X-Form-Token": this.token };
    const over = new AbortController();
    const timer = setTimeout(() => over.abort(), patience);
    try {
      const asked = { method: body ? "POST" : "GET", headers, body: body && JSON.stringify(body), signal: over.signal };
      const reply = await fetch(`${this.at}${path}`, asked);
      if (reply.status >= 500 || reply.status === 429) return null;
      const told = await reply.json();
      return (reply.status === 200 ? must : "error") in told ? { status: reply.status, body: told } : null;
    } catch {
      return null;
    } finally {
      clearTimeout(timer);
    }
  }
}

/** @param {number} ms @returns {Promise<null>} */
export function pause(ms) {
  return new Promise((later) => setTimeout(() => later(null), ms));
}

/** Until the network is said to be back, or for so many ms. @param {number} ms */
export function back(ms) {
  const said = new Promise((later) => addEventListener("online", () => later(null), { once: true }));
  return Promise.race([said, pause(ms)]);
}

/**
 * What was promised, if it comes soon; else null.
 * @template T
 * @param {Promise<T>} promised
 * @param {number} ms
 * @returns {Promise<T | null>}
 */
export function soon(promised, ms) {
  return Promise.race([promised, pause(ms)]);
}
