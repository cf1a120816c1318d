/** The clock of a look as it is seen, heard and felt: a figure, a pennon drawn in, words at its start and its end. */

import { left, secondsLeft } from "./look-clock.js";

/** @typedef {import("./look-run.js").Run} Run */

const LAST = [2, 1];

export class Face {
  /** Milliseconds of the whole clock. */
  deadline = 5000;

  /**
   * @param {HTMLElement} pennon
   * @param {HTMLElement} figure
   * @param {HTMLElement} heard what is read out
   */
  constructor(pennon, figure, heard) {
    this.pennon = pennon;
    this.figure = figure;
    this.heard = heard;
  }

  /**
   * The figure, and the pennon drawn in towards its staff; in steps where people want less motion.
   * @param {number} share of the time that is left
   */
  draw(share) {
    const seconds = secondsLeft(share, this.deadline);
    const still = matchMedia("(prefers-reduced-motion: reduce)").matches;
    this.pennon.style.setProperty("--left", String(still ? Math.min(1, (seconds * 1000) / this.deadline) : share));
    if (this.figure.textContent !== String(seconds)) this.figure.textContent = String(seconds);
    return seconds;
  }

  /**
   * Go with a look until it is decided, or time is up, or the clip does not play.
   * @param {Run} run
   * @param {(now: number) => void} over
   */
  follow(run, over) {
    let second = 0;
    this.heard.textContent = "";
    const step = () => {
      if (run.decided) return;
      const now = performance.now();
      const share = left(now, run.last, run.deadline);
      const seconds = this.draw(share * (run.deadline / this.deadline));
      if (run.last !== null && seconds !== second) {
        this.#tell(second ? String(seconds) : `${seconds} seconds to call it`, !second || LAST.includes(seconds));
        second = seconds;
      }
      if (share <= 0 || run.stuck(now)) over(now);
      else requestAnimationFrame(step);
    };
    requestAnimationFrame(step);
  }

  /** @param {string} words @param {boolean} aloud whether they are read out and felt */
  #tell(words, aloud) {
    if (!aloud) return;
    this.heard.textContent = words;
    navigator.vibrate?.(60);
  }
}
