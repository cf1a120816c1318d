/** The clock of one look: what a phone measures of a decision. Pure; times in milliseconds of one steady clock. */

/**
 * @typedef {object} Measured
 * @property {number} load from the reply that opened the look to its first frame
 * @property {number} play from the first frame to the last
 * @property {number} decide from the last frame to the decision; negative before the end
 */

/**
 * What to report of a decision.
 *
 * Decided while the picture plays, the play counts as its whole length and the decision as before its end.
 * @param {number} opened when the reply that opened the look came
 * @param {number} first when the first frame was shown
 * @param {number | null} last when the last frame was shown; null while it plays
 * @param {number} pressed when the decision was pressed
 * @param {number} length of the clip
 * @returns {Measured}
 */
export function measured(opened, first, last, pressed, length) {
  const end = last ?? first + length;
  return {
    load: Math.max(0, Math.round(first - opened)),
    play: Math.round(end - first),
    decide: Math.round(pressed - end),
  };
}

/**
 * Share of the time to decide that is left, from 1 down to 0; whole while the picture plays.
 * @param {number} now
 * @param {number | null} last when the last frame was shown
 * @param {number} deadline
 * @returns {number}
 */
export function left(now, last, deadline) {
  if (last === null) return 1;
  return Math.min(1, Math.max(0, 1 - (now - last) / deadline));
}

/**
 * The figure beside the clock: whole seconds that are left, the last of them until it is over.
 * @param {number} share of the time that is left
 * @param {number} deadline in milliseconds
 * @returns {number}
 */
export function secondsLeft(share, deadline) {
  return Math.max(0, Math.ceil((share * deadline) / 1000 - 1e-9));
}

/**
 * Share of the frames that were not shown, from the count that a browser gives with each frame.
 * @param {number} shown how many frames were shown
 * @param {number} total frames of the clip
 * @returns {number}
 */
export function dropped(shown, total) {
  return total > 0 ? Math.min(1, Math.max(0, 1 - shown / total)) : 0;
}
