/** The clips of the next looks, fetched one after another, the next one first, so that the network may be gone. */

import { pause } from "./look-server.js";

/** @typedef {import("./look-run.js").Ahead} Ahead */

const AGAIN_MS = 1500;

export class Clips {
  /** @type {Map<number, Promise<string>>} clips that are on their way or here, by look */
  #asked = new Map();
  /** @type {Map<number, string>} clips that are here: addresses inside this page */
  #here = new Map();
  /** @type {Promise<unknown>} */
  #last = Promise.resolve();

  /** @param {(away: boolean) => void} told whether the network is away, after each try */
  constructor(told) {
    this.told = told;
  }

  /** @param {Ahead} look */
  fetch(look) {
    if (!look.clip || this.#asked.has(look.n)) return;
    const clip = this.#last.then(() => this.#fetched(look));
    this.#last = clip;
    this.#asked.set(look.n, clip);
  }

  /** The clip of a look once it is here; empty where there is none. @param {number} n */
  async of(n) {
    return (await this.#asked.get(n)) ?? "";
  }

  /** Whether the clip of a look is here. @param {number} n */
  has(n) {
    return Boolean(this.#here.get(n));
  }

  /** The clip of a look is gone once it is decided. @param {number} n */
  drop(n) {
    const address = this.#here.get(n);
    if (address) URL.revokeObjectURL(address);
    this.#here.delete(n);
    this.#asked.delete(n);
  }

  /** @param {Ahead} look */
  async #fetched(look) {
    for (;;) {
      const address = await tried(look.clip);
      this.told(address === null);
      if (address !== null) {
        this.#here.set(look.n, address);
        return address;
      }
      await pause(AGAIN_MS);
      if (!this.#asked.has(look.n)) return "";
    }
  }
}

/** A clip as an address inside this page; null when nothing came. @param {string} address */
async function tried(address) {
  try {
    const reply = await fetch(address);
    if (reply.status === 404) return "";
    const isOurs = reply.ok && reply.headers.get("content-type") === "video/mp4";
    return isOurs ? URL.createObjectURL(await reply.blob()) : null;
  } catch {
    return null;
  }
}
