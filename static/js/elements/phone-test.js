/**
 * <phone-test>: a drawn clip on which nothing is judged. Shows whether this phone plays smoothly and takes a touch, and
 * says what is amiss and what helps. Whoever knows may go on all the same.
 */

import { load, play, Run } from "../lib/look-run.js";
import { amiss } from "../lib/look-words.js";

const TO_TOUCH_MS = 6000;

export class PhoneTest extends HTMLElement {
  /** Test until somebody goes on. @returns {Promise<void>} */
  done() {
    this.#part("try").onclick = () => this.#try();
    return new Promise((gone) => {
      this.#part("on").onclick = () => gone();
    });
  }

  /**
   * @param {string} name
   * @returns {HTMLElement}
   */
  #part(name) {
    return /** @type {HTMLElement} */ (this.querySelector(`[data-test="${name}"]`));
  }

  /** Which of its parts are there. @param {string[]} names */
  #show(...names) {
    for (const part of this.querySelectorAll("[data-test]")) {
      /** @type {HTMLElement} */ (part).hidden = !names.includes(part.getAttribute("data-test") ?? "");
    }
  }

  async #try() {
    this.#show("asked", "clip", "touch");
    const video = /** @type {HTMLVideoElement} */ (this.#part("clip"));
    const length = { n: -1, ms: Number(this.dataset.ms), frames: Number(this.dataset.frames) };
    await load(video, this.dataset.clip ?? "");
    const run = new Run(length, "", TO_TOUCH_MS, false);
    play(video, run, () => {});
    const touched = await this.#touched(run);
    run.decided = true;
    const found = amiss(run.report(run.last ?? performance.now()), length.ms, touched);
    this.#part("found").replaceChildren(...(found.length ? found : [this.dataset.well ?? ""]).map(line));
    this.#show("found", "on", ...(found.length ? ["asked", "try"] : []));
    this.#part("try").textContent = "Try again";
    this.#part("on").textContent = found.length ? "Go on all the same" : "Go on";
    this.#part("on").className = found.length ? "press" : "go";
    if (matchMedia("(pointer: fine)").matches) this.#part("on").focus({ preventScroll: true });
  }

  /**
   * Whether the field was touched before the clip and some seconds after it were over.
   * @param {Run} run
   * @returns {Promise<boolean>}
   */
  #touched(run) {
    return new Promise((told) => {
      let touched = false;
      const field = this.#part("touch");
      field.onpointerdown = field.onclick = () => {
        touched = true;
      };
      const look = setInterval(() => {
        const now = performance.now();
        const isOver = run.stuck(now) || (run.last !== null && now - run.last > TO_TOUCH_MS);
        if (!isOver && !(touched && run.last !== null)) return;
        clearInterval(look);
        told(touched);
      }, 50);
    });
  }
}

/** @param {string} text */
function line(text) {
  const made = document.createElement("p");
  made.textContent = text;
  return made;
}

customElements.define("phone-test", PhoneTest);
