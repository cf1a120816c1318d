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
    load: Math.round(first - opened),
    play: Math.round(last === null ? length : end - first),
    decide: Math.round(pressed - end),
  };
}

/**
 * Share of the time to decide that is left, from 1 down to 0; whole while the picture plays.
 * @param {number} now
 * @param {number | null} last when the last frame was shown
 * @param {number} deadline
 */
export function left(now, last, deadline) {
  if (last === null) return 1;
  return Math.min(1, Math.max(0, 1 - (now - last) / deadline));
}

/**
 * Share of frames that were not shown, from the counts that a browser gives with each frame.
 * @param {number} presented frames that were shown
 * @param {number} total frames of the clip
 */
export function dropped(presented, total) {
  return total > 0 ? Math.min(1, Math.max(0, 1 - presented / total)) : 0;
}
