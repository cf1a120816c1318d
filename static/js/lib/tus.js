/**
 * Sending a file in pieces that go on where they stopped: tus 1.0, as far as this page needs it.
 *
 * Where a file stands is always asked of the server, so nothing has to be remembered here. A lost network, a server
 * that starts anew or a full disk are waited out; only a refusal ends the sending.
 */

/** @typedef {{status: number, header: (name: string) => string | null, text: string}} Reply */
/** @typedef {{method: string, address: string, headers: Record<string, string>, body?: Blob}} Request */
/** @typedef {(request: Request, sent: (bytes: number) => void) => Promise<Reply | null>} Ask null: no answer came */
/** @typedef {{place: string, at: number}} Announced */
/** @typedef {"" | "lost" | "full" | "busy"} Trouble */

export const PIECE = 16 * 2 ** 20;
const VERSION = "1.0.0";
const FULL = 507;
const LOCKED = 423;
const TOO_LARGE = 413;
const GONE = "It is not on its way here any more. Choose the file again to send it from the beginning.";
/** @type {Record<number, string>} what is told of answers that bring no words: those to HEAD never do */
const WORDS = {
  401: "You are signed out. Sign in in another window, then try again here.",
  403: "This device may not send files. Load the page again, or sign in as the supervisor.",
  404: GONE,
  410: GONE,
  [TOO_LARGE]: "Something between you and the server lets no pieces of this size pass. Whoever runs it can allow them.",
};
const PASSING = [408, 409, 429, 500, 502, 503, 504, FULL];

/** The server will not take it; `message` is a sentence, `about` one for each field that is wrong. */
export class Refused extends Error {
  /** @param {Reply} reply */
  constructor(reply) {
    const said = read(reply.text);
    super(said.error ?? WORDS[reply.status] ?? "The server did not take it.");
    this.status = reply.status;
    /** @type {Record<string, string>} */
    this.about = said.about ?? {};
  }
}

/** Sends files to one server, one after another. */
export class Sender {
  #tries = 0;

  /**
   * @param {Ask} ask
   * @param {(tries: number) => Promise<void>} pause before another try
   * @param {(trouble: Trouble) => void} told what is waited out; "" once it is over
   */
  constructor(ask, pause, told) {
    this.ask = ask;
    this.pause = pause;
    this.told = told;
  }

  /**
   * Announce a file, or find it again: where it goes, and how many bytes of it are there. Throws Refused.
   * @param {number} length
   * @param {Record<string, string>} said
   * @returns {Promise<Announced>}
   */
  async announce(length, said) {
    const headers = { "Upload-Length": String(length), "Upload-Metadata": metadata(said) };
    const reply = await this.#insist({ method: "POST", address: "/uploads", headers });
    return { place: reply.header("Location") ?? "", at: Number(reply.header("Upload-Offset")) };
  }

  /**
   * Send all of a file that is not there yet. Throws Refused.
   * @param {string} place
   * @param {Blob} file
   * @param {(at: number) => void} reached called with the bytes that have gone out
   */
  async send(place, file, reached) {
    for (;;) {
      const stands = await this.#insist({ method: "HEAD", address: place, headers: {} });
      if (await this.#pour(place, file, Number(stands.header("Upload-Offset")), reached)) return;
    }
  }

  /**
   * Forget a file that is on its way.
   * @param {string} place
   */
  async cancel(place) {
    await this.ask({ method: "DELETE", address: place, headers: versioned({}) }, () => {});
  }

  /**
   * Send piece by piece; whether the file is whole.
   * @param {string} place
   * @param {Blob} file
   * @param {number} from
   * @param {(at: number) => void} reached
   */
  async #pour(place, file, from, reached) {
    let at = from;
    reached(at);
    while (at < file.size) {
      const headers = { "Upload-Offset": String(at), "Content-Type": "application/offset+octet-stream" };
      const request = { method: "PATCH", address: place, headers, body: file.slice(at, at + PIECE) };
      const start = at;
      const reply = await this.#once(request, (bytes) => reached(start + bytes));
      if (!reply) return false;
      at = Number(reply.header("Upload-Offset"));
      reached(at);
    }
    return true;
  }

  /**
   * Ask until there is an answer.
   * @param {Request} request
   * @returns {Promise<Reply>}
   */
  async #insist(request) {
    for (;;) {
      const reply = await this.#once(request, () => {});
      if (reply) return reply;
    }
  }

  /**
   * Ask once; null, after a pause, when another try may help. Throws Refused.
   * @param {Request} request
   * @param {(bytes: number) => void} sent
   */
  async #once(request, sent) {
    const reply = await this.ask({ ...request, headers: versioned(request.headers) }, sent);
    const trouble = troubleOf(request, reply);
    this.told(trouble);
    if (trouble || !reply) {
      await this.pause(this.#tries);
      this.#tries += 1;
      return null;
    }
    if (reply.status >= 300) throw new Refused(reply);
    this.#tries = 0;
    return reply;
  }
}

/**
 * What is in the way for the time being. An answer without the protocol's header is not our server's; one is worth
 * listening to all the same: that pieces are too large for what stands between will not pass by waiting.
 * @param {Request} request
 * @param {Reply | null} reply
 * @returns {Trouble}
 */
function troubleOf(request, reply) {
  if (!reply?.header("Tus-Resumable")) return reply?.status === TOO_LARGE ? "" : "lost";
  if (reply.status === FULL && request.method !== "POST") return "full";
  if (reply.status === LOCKED && request.method === "HEAD") return "busy";
  return PASSING.includes(reply.status) && reply.status !== FULL ? "busy" : "";
}

/** @param {Record<string, string>} headers */
function versioned(headers) {
  return { "Tus-Resumable": VERSION, ...headers };
}

/**
 * `key base64,key base64`; what is empty is left out.
 * @param {Record<string, string>} said
 */
export function metadata(said) {
  const pairs = Object.entries(said).filter(([, text]) => text);
  return pairs.map(([key, text]) => `${key} ${base64(text)}`).join(",");
}

/** @param {string} text */
function base64(text) {
  return btoa(String.fromCharCode(...new TextEncoder().encode(text)));
}

/**
 * @param {string} text
 * @returns {{error?: string, about?: Record<string, string>}}
 */
function read(text) {
  try {
    return JSON.parse(text) ?? {};
  } catch {
    return {};
  }
}
