// What was, to go back to: states one after another, and a place among them.

const MOST = 200;

/** @template State */
export class Past {
  /** @type {State[]} */
  #states = [];
  #at = -1;

  /**
   * Keep a state as the newest; what had been undone before it is forgotten. The same state again changes nothing.
   * @param {State} state
   */
  keep(state) {
    if (this.#at >= 0 && JSON.stringify(state) === JSON.stringify(this.#states[this.#at])) return;
    this.#states = [...this.#states.slice(0, this.#at + 1), state].slice(-MOST);
    this.#at = this.#states.length - 1;
  }

  /**
   * The state before, or after where `step` is 1; null at the end.
   * @param {-1 | 1} step
   * @returns {State | null}
   */
  go(step) {
    const state = this.#states[this.#at + step];
    if (state === undefined) return null;
    this.#at += step;
    return state;
  }
}
