// A video as a stack of whole frames: stand on one, step, play at some speed. It needs of a media element only
// `currentTime`, `paused`, `seeking`, `readyState`, `playbackRate`, `play`, `pause` and its events.

import { bounded } from "./tape-window.js";
import { frameAt, secondsOf } from "./timecode.js";

/**
 * @typedef {object} Clockwork
 * @property {number} num pictures per second: num / den
 * @property {number} den
 * @property {number} frames of the recording in whose frames everything counts
 */

export class Stepper {
  /** Frames to add to get to those of the recording that is shown. */
  offset = 0;
  /** @type {{first: number, last: number} | null} played over and over while it is set */
  loop = null;
  /** @type {number | null} */
  #wanted = null;

  /**
   * @param {HTMLVideoElement} video
   * @param {Clockwork} clockwork
   * @param {number} frame to stand on
   * @param {() => void} told called whenever `frame` or `isPlaying` may have changed
   */
  constructor(video, clockwork, frame, told) {
    this.video = video;
    this.clockwork = clockwork;
    this.frame = frame;
    this.told = told;
    video.addEventListener("loadedmetadata", () => this.stand(this.frame));
    video.addEventListener("seeked", () => this.#caught());
    video.addEventListener("play", told);
    video.addEventListener("pause", () => {
      if (!video.seeking) this.stand(this.#shown());
    });
    if (video.readyState > 0) this.stand(frame);
  }

  get isPlaying() {
    return !this.video.paused;
  }

  /**
   * Stand on a frame. Steps may come faster than the picture can follow: the last one wins.
   * @param {number} frame
   */
  stand(frame) {
    this.frame = bounded(frame, 0, this.clockwork.frames - 1);
    this.video.pause();
    this.#seek(this.frame);
    this.told();
  }

  /** Play, or stop. */
  play() {
    if (this.isPlaying) this.video.pause();
    else this.video.play().catch(() => {});
  }

  /** To be called with each picture of the screen: notes how far playing has come. */
  follow() {
    if (!this.isPlaying || this.video.seeking) return;
    const frame = bounded(this.#shown(), 0, this.clockwork.frames - 1);
    if (this.loop && (frame > this.loop.last || frame < this.loop.first)) {
      this.#seek(this.loop.first);
    } else if (frame !== this.frame) {
      this.frame = frame;
      this.told();
    }
  }

  /** The frame under the eyes, in the frames that everything counts in. */
  #shown() {
    return frameAt(this.video.currentTime, this.clockwork.num, this.clockwork.den) - this.offset;
  }

  /** @param {number} frame */
  #seek(frame) {
    if (this.video.readyState === 0) return;
    if (this.video.seeking) {
      this.#wanted = frame;
      return;
    }
    // the middle of a frame: no rounding can show its neighbour
    const local = Math.max(0, frame + this.offset);
    this.video.currentTime = secondsOf(local + 0.5, this.clockwork.num, this.clockwork.den);
  }

  #caught() {
    const wanted = this.#wanted;
    this.#wanted = null;
    if (wanted !== null && wanted !== this.#shown()) this.#seek(wanted);
  }
}
