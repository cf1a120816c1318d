/**
 * What was decided and has not reached the server yet: written down first, then sent, in order, until it is answered.
 *
 * It outlives a reload and a lost network. A message leaves only when the server's own JSON has taken or refused it;
 * whatever else answers (a hotel's sign-in page, an overloaded server) is no answer.
 */

/** @typedef {{path: string, body: object}} Message */
/** @typedef {{status: number, body: any}} Reply */

const FINAL = [400, 404, 409, 422];

export class Outbox {
  /** @type {Message[]} */
  #waiting;
  /** @type {Promise<unknown>} */
  #turn = Promise.resolve();

  /**
   * @param {Pick<Storage, "getItem" | "setItem" | "removeItem"> | null} storage null where the browser keeps nothing
   * @param {string} name under which it is kept
   * @param {(message: Message) => Promise<Reply | null>} send null when there was no answer
   * @param {(tries: number) => Promise<void>} pause before another try
   */
  constructor(storage, name, send, pause) {
    this.storage = storage;
    this.name = name;
    this.send = send;
    this.pause = pause;
    this.#waiting = this.#read();
  }

  /** How many messages wait. */
  get length() {
    return this.#waiting.length;
  }

  /**
   * Keep a message and send it after those before it; what the server answers.
   * @param {string} path
   * @param {object} body
   * @returns {Promise<Reply>}
   */
  post(path, body) {
    const message = { path, body };
    this.#waiting.push(message);
    this.#write();
    const reply = this.#turn.then(() => this.#deliver(message));
    this.#turn = reply;
    return reply;
  }

  /** Send what an earlier page left behind. */
  flush() {
    for (const message of [...this.#waiting]) this.#turn = this.#turn.then(() => this.#deliver(message));
    return this.#turn;
  }

  /**
   * @param {Message} message
   * @returns {Promise<Reply>}
   */
  async #deliver(message) {
    for (let tries = 0; ; tries += 1) {
      const reply = await this.send(message);
      if (reply && ((reply.status >= 200 && reply.status < 300) || FINAL.includes(reply.status))) {
        this.#waiting = this.#waiting.filter((each) => each !== message);
        this.#write();
        return reply;
      }
      await this.pause(tries);
    }
  }

  /** @returns {Message[]} */
  #read() {
    try {
      const kept = JSON.parse(this.storage?.getItem(this.name) ?? "[]");
      return Array.isArray(kept) ? kept : [];
    } catch {
      return [];
    }
  }

  #write() {
    try {
      if (this.#waiting.length) this.storage?.setItem(this.name, JSON.stringify(this.#waiting));
      else this.storage?.removeItem(this.name);
    } catch {
      // a browser that keeps nothing: it is sent from memory as long as the page is open
    }
  }
}
