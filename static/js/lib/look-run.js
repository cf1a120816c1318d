/** One look while it is open: what the browser showed, and when. */

import { dropped, measured } from "./look-clock.js";

export const GIVE_UP_MS = 8500;

/**
 * @typedef {object} Ahead
 * @property {number} n
 * @property {number} number which look this is, from 1
 * @property {string} clip address of the clip; empty where the look was opened before
 * @property {number} ms length of the clip
 * @property {number} frames of the clip
 * @property {string} topic
 * @property {string} flag
 * @property {string} no_flag
 * @property {boolean} warning whether it shows somebody being hurt
 */

/** A word that nobody else has: what is sent twice is known by it. */
export function freshWord() {
  return `${Date.now().toString(36)}-${Math.random().toString(36).slice(2, 12)}`;
}

/** One look while it is open: when which frame was shown. Times of `performance.now()`. */
export class Run {
  /** @type {number | null} */
  first = null;
  /** @type {number | null} */
  last = null;
  opened = performance.now();
  hidden = document.hidden;
  decided = false;
  idempotency = freshWord();
  #newest = 0;
  #frames = 0;
  /** @type {number | null} */
  #before = null;

  /**
   * @param {{n: number, ms: number, frames: number}} look
   * @param {string} nonce empty where the network is away, and the clip is shown all the same
   * @param {number} deadline ms to decide after the last frame
   * @param {boolean} reopened whether it was opened before: nothing is shown, the time runs
   */
  constructor(look, nonce, deadline, reopened) {
    this.look = look;
    this.nonce = nonce;
    this.deadline = Math.max(1, deadline);
    this.reopened = reopened;
    if (reopened) this.first = this.last = this.opened;
  }

  /** Whether the server knows nothing of it yet. */
  get unopened() {
    return this.nonce === "";
  }

  /** @param {number} at @param {number} presented frames that the browser has shown since it began */
  shown(at, presented) {
    this.#before ??= presented - 1;
    this.#frames = presented - this.#before;
    this.#newest = at;
  }

  /** @param {number} now */
  end(now) {
    this.first ??= now;
    this.last ??= this.#newest || now;
  }

  /** Whether the clip does not begin, or does not come to its end. @param {number} now */
  stuck(now) {
    if (this.first === null) return now - this.opened > GIVE_UP_MS;
    if (this.last === null && now - this.first > this.look.ms + GIVE_UP_MS) this.end(now);
    return false;
  }

  /** What the server is told of the timing. @param {number} pressed */
  report(pressed) {
    const first = this.first ?? pressed;
    const counted = this.last !== null && this.#frames > 0;
    return {
      ...measured(this.opened, first, this.first === null ? first : this.last, pressed, this.look.ms),
      hidden: this.hidden,
      dropped: counted ? dropped(this.#frames, this.look.frames) : 0,
      reopened: this.reopened,
      unopened: this.unopened,
    };
  }
}

/**
 * Have a clip ready to be shown, or given up.
 * @param {HTMLVideoElement} video
 * @param {string} address
 * @returns {Promise<void>}
 */
export function load(video, address) {
  return new Promise((ready) => {
    video.onloadeddata = video.onerror = () => ready();
    setTimeout(() => ready(), GIVE_UP_MS);
    video.src = address;
    video.load();
  });
}

/**
 * Show the clip once, and note when its first and its last frame are shown.
 * @param {HTMLVideoElement} video
 * @param {Run} run
 * @param {() => void} begun called at the first frame
 */
export function play(video, run, begun) {
  const started = (/** @type {number} */ at) => {
    if (run.first === null) begun();
    run.first ??= at;
  };
  video.onended = video.onerror = () => run.end(performance.now());
  if ("requestVideoFrameCallback" in video) {
    /** @type {VideoFrameRequestCallback} */
    const frame = (_, shown) => {
      started(shown.expectedDisplayTime);
      run.shown(shown.expectedDisplayTime, shown.presentedFrames);
      if (!run.decided) video.requestVideoFrameCallback(frame);
    };
    video.requestVideoFrameCallback(frame);
  } else {
    /** @type {HTMLVideoElement} */ (video).onplaying = () => started(performance.now());
  }
  video.play().catch(() => run.end(performance.now()));
}
