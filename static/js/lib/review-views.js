/** The views of one play, in step: one instant for all of them, of which one is seen. */

import { Stepper } from "./stepper.js";
import { bounded } from "./tape-window.js";

/** @typedef {{label: string, frames: number, starts: number}} Angle */

const PATIENCE_MS = 400;

/**
 * Where an instant of the play is within the clip of a view.
 * @param {Angle} angle
 * @param {number} frame of the play
 * @returns {number | null} null before this view begins
 */
export function within(angle, frame) {
  return frame < angle.starts ? null : Math.min(frame - angle.starts, angle.frames - 1);
}

export class Views {
  /** Which view is seen. */
  angle = 0;
  #speed = 1;
  /** @type {Stepper[]} */
  #steppers;

  /**
   * @param {HTMLVideoElement[]} videos one for each angle
   * @param {Angle[]} angles
   * @param {{num: number, den: number, frames: number}} clockwork of the whole play
   * @param {() => void} told whenever instant, view or playing may have changed
   */
  constructor(videos, angles, clockwork, told) {
    this.angles = angles;
    this.videos = videos;
    this.last = clockwork.frames - 1;
    this.told = told;
    this.#steppers = videos.map((video, k) => {
      const stepper = new Stepper(video, clockwork, 0, () => k === this.angle && told());
      stepper.offset = -(angles[k]?.starts ?? 0);
      stepper.stand(0);
      return stepper;
    });
  }

  /** @returns {Stepper} */
  get #seen() {
    return /** @type {Stepper} */ (this.#steppers[this.angle]);
  }

  /** The instant, in frames from the first. */
  get frame() {
    return this.#steppers[this.angle]?.frame ?? 0;
  }

  get isPlaying() {
    return this.#seen.isPlaying;
  }

  /** @param {number} frame */
  stand(frame) {
    this.#seen.stand(bounded(frame, 0, this.last));
  }

  /** Play, or stop; from the end again from the beginning. */
  play() {
    if (!this.isPlaying && this.frame >= this.last) this.stand(0);
    this.#seen.video.playbackRate = this.#speed;
    this.#seen.play();
  }

  stop() {
    for (const video of this.videos) video.pause();
  }

  /** To be called with each picture of the screen. */
  follow() {
    this.#seen.follow();
  }

  get speed() {
    return this.#speed;
  }

  /** @param {number} speed share of full speed */
  set speed(speed) {
    this.#speed = speed;
    this.#seen.video.playbackRate = speed;
  }

  /**
   * See another view at the same instant. What played goes on playing.
   * @param {number} k
   */
  async look(k) {
    const next = this.#steppers[k];
    if (!next || k === this.angle) return;
    const { frame, isPlaying } = this;
    this.#seen.video.pause();
    next.stand(frame);
    this.angle = k;
    await caught(next.video);
    if (this.angle !== k) return;
    this.videos.forEach((video, each) => {
      video.hidden = each !== k;
    });
    if (isPlaying) this.play();
    this.told();
  }
}

/** Until a video shows where it was told to stand. @param {HTMLVideoElement} video @returns {Promise<void>} */
function caught(video) {
  return new Promise((there) => {
    if (!video.seeking) return there();
    video.addEventListener("seeked", () => there(), { once: true });
    setTimeout(() => there(), PATIENCE_MS);
  });
}
