// Exact time in the browser, equal to app/domain/timecode.py: tests/js/timecode.json holds rows for both.
// A rate is two whole numbers, `num / den` pictures per second: 30/1, 25/1, 30000/1001.

/** Browsers cut media times to whole microseconds, so the start of a frame is told up to one early; twice that is safe. */
const ROUNDING_S = 2e-6;

/**
 * `dividend / divisor` rounded down. Exact for whole numbers, where rounding the quotient could skip to the next one.
 * @param {number} dividend
 * @param {number} divisor above 0
 * @returns {number}
 */
function wholeQuotient(dividend, divisor) {
  const remainder = dividend % divisor;
  return (dividend - (remainder < 0 ? remainder + divisor : remainder)) / divisor;
}

/**
 * Minutes, seconds and the frame within the second, as pages and messages print it: `1:04.07`.
 * @param {number} frames whole frames from the start
 * @param {number} num
 * @param {number} den
 * @returns {string}
 */
export function clock(frames, num, den) {
  const whole = wholeQuotient(frames * den, num);
  const firstOfSecond = -wholeQuotient(-whole * num, den);
  const seconds = whole - 60 * wholeQuotient(whole, 60);
  return `${wholeQuotient(whole, 60)}:${two(seconds)}.${two(frames - firstOfSecond)}`;
}

/**
 * The frame that is shown at an instant: frame k is shown from k/rate until (k+1)/rate.
 * @param {number} seconds as a media element tells it
 * @param {number} num
 * @param {number} den
 * @returns {number}
 */
export function frameAt(seconds, num, den) {
  return Math.floor(((seconds + ROUNDING_S) * num) / den);
}

/**
 * The instant at which a frame begins, in seconds. To make a media element show frame k, seek to the middle of it:
 * `secondsOf(k + 0.5, num, den)`.
 * @param {number} frames
 * @param {number} num
 * @param {number} den
 * @returns {number}
 */
export function secondsOf(frames, num, den) {
  return (frames * den) / num;
}

/**
 * @param {number} number
 * @returns {string}
 */
function two(number) {
  return String(number).padStart(2, "0");
}
