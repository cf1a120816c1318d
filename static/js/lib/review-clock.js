/** The clock of a review: it runs from the opening, whatever the page does. Pure; times in ms of one steady clock. */

const ALOUD = [60, 30, 10, 5];
/** A page out of sight has its timers slowed: so much later it still decides at the end of its time. */
const SLOW_MS = 1500;

/**
 * Time that is left.
 * @param {number} now
 * @param {number} opened when the reply came that opened it
 * @param {number} given what was left then; less than nothing where the time was up
 */
export function leftAt(now, opened, given) {
  return Math.max(0, given - (now - opened));
}

/**
 * How long the review has been open, by the server's clock: what was gone at the reply, and since.
 * @param {number} now
 * @param {number} opened when the reply came
 * @param {number} given what was left then
 * @param {number} deadline all the time there is
 */
export function goneAt(now, opened, given, deadline) {
  return Math.max(0, Math.round(deadline - given + (now - opened)));
}

/**
 * What is told of the instant of a decision: what was chosen when the time was up was chosen in time; whoever comes back
 * long after that was not there.
 * @param {number} gone ms since the opening
 * @param {number} deadline
 */
export function reported(gone, deadline) {
  return gone > deadline + SLOW_MS ? gone : Math.min(gone, deadline);
}

/**
 * The figure: minutes and seconds, the last second until it is over.
 * @param {number} left ms
 */
export function figure(left) {
  const seconds = Math.ceil(left / 1000 - 1e-9);
  return `${Math.floor(seconds / 60)}:${String(seconds % 60).padStart(2, "0")}`;
}

/**
 * What is read out between two looks at the clock; empty for nothing.
 * @param {number | null} before ms that were left; null at the beginning
 * @param {number} left ms
 */
export function spoken(before, left) {
  const seconds = Math.ceil(left / 1000 - 1e-9);
  if (before === null) return `${seconds} seconds`;
  const passed = ALOUD.find((mark) => before > mark * 1000 && left <= mark * 1000);
  return passed === undefined ? "" : `${seconds} seconds left`;
}
