// The stretch of a recording that the marking desk's tape shows, and where things stand on it. Whole frames, half-open.

/** @typedef {{first: number, end: number}} Stretch */

/**
 * @param {number} value
 * @param {number} least
 * @param {number} most
 */
export function bounded(value, least, most) {
  return Math.max(least, Math.min(most, value));
}

/**
 * A stretch of some length around a frame, as far inside the recording as it goes.
 * @param {number} middle
 * @param {number} length
 * @param {number} frames of the recording
 * @returns {Stretch}
 */
export function around(middle, length, frames) {
  const size = Math.round(bounded(length, 1, frames));
  const first = bounded(Math.round(middle - size / 2), 0, frames - size);
  return { first, end: first + size };
}

/**
 * The stretch to begin with: all marks with room around them; without marks, some seconds around the frame at hand.
 * @param {number[]} marks
 * @param {number} at
 * @param {number} second frames in a second, at least 1
 * @param {number} frames of the recording
 * @returns {Stretch}
 */
export function opening(marks, at, second, frames) {
  if (marks.length === 0) return around(at, 16 * second, frames);
  const [first, last] = [Math.min(...marks, at), Math.max(...marks, at)];
  return around((first + last) / 2, Math.max(4 * second, (last - first) * 1.4), frames);
}

/**
 * The same stretch closer or wider around a frame, which keeps its place on the tape.
 * @param {Stretch} stretch
 * @param {number} at
 * @param {number} factor below 1 closer, above 1 wider
 * @param {number} frames of the recording
 * @returns {Stretch}
 */
export function zoomed(stretch, at, factor, frames) {
  const length = Math.round(bounded((stretch.end - stretch.first) * factor, Math.min(20, frames), frames));
  const share = place(at, stretch);
  const first = bounded(Math.round(at - share * length), 0, frames - length);
  return { first, end: first + length };
}

/**
 * A stretch of the same length in which the frame lies; the same one where it does already.
 * @param {Stretch} stretch
 * @param {number} at
 * @param {number} frames of the recording
 * @returns {Stretch}
 */
export function following(stretch, at, frames) {
  if (stretch.first <= at && at < stretch.end) return stretch;
  return around(at, stretch.end - stretch.first, frames);
}

/**
 * Where a frame begins on the tape, as a share of its length; outside it is below 0 or above 1.
 * @param {number} frame
 * @param {Stretch} stretch
 */
export function place(frame, stretch) {
  return (frame - stretch.first) / (stretch.end - stretch.first);
}

/**
 * The frame at a place on the tape.
 * @param {number} share of its length, from 0 to 1
 * @param {Stretch} stretch
 */
export function frameAtPlace(share, stretch) {
  return bounded(stretch.first + Math.floor(share * (stretch.end - stretch.first)), stretch.first, stretch.end - 1);
}

/**
 * Heights for flags that stand side by side, from left to right, so that no staff crosses a word: a flag stands above
 * every other that begins under it.
 * @param {{x: number, width: number}[]} flags in pixels
 * @returns {number[]} the height of each, from 0
 */
export function heights(flags) {
  /** @type {number[]} */
  const found = new Array(flags.length).fill(0);
  for (let n = flags.length - 1; n >= 0; n -= 1) {
    const end = (flags[n]?.x ?? 0) + (flags[n]?.width ?? 0);
    for (let m = n + 1; m < flags.length && (flags[m]?.x ?? 0) < end; m += 1) {
      found[n] = Math.max(found[n] ?? 0, (found[m] ?? 0) + 1);
    }
  }
  return found;
}
