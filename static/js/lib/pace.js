/** How fast something goes lately, and how long the rest will take, in words that do not jump. */

const LATELY_MS = 10_000;
const FIRST_MS = 1_500;

export class Pace {
  /** @type {{at: number, ms: number}[]} */
  #noted = [];

  /**
   * @param {number} at bytes that are done
   * @param {number} ms on any clock that only goes forward
   */
  note(at, ms) {
    const last = this.#noted.at(-1);
    if (last && at < last.at) this.#noted = [];
    this.#noted.push({ at, ms });
    while (this.#noted.length > 2 && ms - (this.#noted[0]?.ms ?? ms) > LATELY_MS) this.#noted.shift();
  }

  /** Bytes a second; 0 as long as that is not known. */
  get speed() {
    const [first, last] = [this.#noted[0], this.#noted.at(-1)];
    if (!first || !last || last.ms - first.ms < FIRST_MS) return 0;
    return ((last.at - first.at) * 1000) / (last.ms - first.ms);
  }
}

/**
 * @param {number} seconds
 * @returns {string} `less than a minute left`, `about 3 minutes left`, `about 2 hours left`
 */
export function timeLeft(seconds) {
  if (seconds < 50) return "less than a minute left";
  const minutes = Math.round(seconds / 60);
  if (minutes < 90) return `about ${minutes === 1 ? "a minute" : `${minutes} minutes`} left`;
  return `about ${Math.round(seconds / 3600)} hours left`;
}

/**
 * @param {number} bytes
 * @returns {string} `3.2 MB`, as the server says it
 */
export function sizeOf(bytes) {
  if (bytes < 1000) return `${Math.round(bytes)} bytes`;
  let value = bytes;
  let unit = "bytes";
  for (const larger of ["KB", "MB", "GB"]) {
    if (value < 1000) break;
    [value, unit] = [value / 1000, larger];
  }
  return `${value.toFixed(value >= 100 ? 0 : 1)} ${unit}`;
}
