/**
 * What was decided and has not reached the server yet: written down first, then sent, in order, until it is answered.
 *
 * It outlives a reload, a closed tab and a lost network. A message leaves only when the server's own JSON names it, or
 * refuses it for good; whatever else answers (a hotel's sign-in page, an overloaded server) is no answer.
 */

/** @typedef {{idempotency: string}} Body */
/** @typedef {{id: number, path: string, body: Body}} Message */
/** @typedef {{status: number, body: any}} Reply */
/**
 * @typedef {object} Store
 * @property {() => Promise<Message[]>} all what is written down, in order
 * @property {(path: string, body: Body) => Promise<Message>} add
 * @property {(id: number) => Promise<void>} remove
 */

const REFUSED = [409, 422];

/**
 * Whether a reply is the server's last word on a message.
 * @param {Message} message
 * @param {Reply | null} reply
 */
export function settles(message, reply) {
  if (!reply) return false;
  if (reply.status === 200) return reply.body?.idempotency === message.body.idempotency;
  return REFUSED.includes(reply.status) && typeof reply.body?.error === "string";
}

export class Outbox {
  /** @type {Message[]} */
  #waiting = [];
  /** @type {Map<number, (reply: Reply) => void>} */
  #posted = new Map();
  #unkept = 0;
  /** @type {Promise<unknown>} until all that was posted is written down */
  #written = Promise.resolve();
  /** @type {Promise<boolean>} */
  #sending = Promise.resolve(true);
  /** @type {Promise<boolean> | null} the sending that begins when the present one is over */
  #queued = null;

  /**
   * @param {Store} store
   * @param {(message: Message) => Promise<Reply | null>} send null when there was no answer
   */
  constructor(store, send) {
    this.store = store;
    this.send = send;
  }

  /** Take up what an earlier page left behind, and send it. */
  async begin() {
    this.#waiting = [...(await this.store.all()), ...this.#waiting];
    return this.flush();
  }

  /** How many messages wait. */
  get length() {
    return this.#waiting.length;
  }

  /**
   * Keep a message and send it after those before it; what the server answers, however long that takes.
   * @param {string} path
   * @param {Body} body
   * @returns {Promise<Reply>}
   */
  post(path, body) {
    return new Promise((told) => {
      this.#written = this.#written.then(async () => {
        const message = await this.#keep(path, body);
        this.#waiting.push(message);
        this.#posted.set(message.id, told);
      });
      this.flush();
    });
  }

  /** Where nothing can be written down (the disk is full), it is sent from memory. @param {string} path @param {Body} body */
  async #keep(path, body) {
    try {
      return await this.store.add(path, body);
    } catch {
      this.#unkept -= 1;
      return { id: this.#unkept, path, body };
    }
  }

  /** Send what waits, what was posted just now too; whether nothing is left. */
  flush() {
    this.#queued ??= this.#sending.then(() => {
      this.#queued = null;
      this.#sending = this.#sendAll();
      return this.#sending;
    });
    return this.#queued;
  }

  async #sendAll() {
    await this.#written;
    for (let message = this.#waiting[0]; message; message = this.#waiting[0]) {
      const reply = await this.send(message);
      if (!reply || !settles(message, reply)) return false;
      await this.store.remove(message.id);
      this.#waiting.shift();
      this.#posted.get(message.id)?.(reply);
      this.#posted.delete(message.id);
    }
    return true;
  }
}

/** A store that lasts as long as the page. @returns {Store} */
export function inMemory() {
  /** @type {Map<number, Message>} */
  const kept = new Map();
  let last = 0;
  return {
    all: async () => [...kept.values()],
    add: async (path, body) => {
      last += 1;
      const message = { id: last, path, body };
      kept.set(last, message);
      return message;
    },
    remove: async (id) => void kept.delete(id),
  };
}
