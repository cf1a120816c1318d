/** What a check says of what happened, by its true cause. Nothing here reproaches anybody. */

export const TAKEN = "Taken. It is sent when the network is back.";
export const UNSTARTED = "The network was away, so the clip was not started.";
export const PRACTICE = "Kept as practice. It does not count, and another clip comes for it.";
export const LEFT_OUT = "Left out. That costs nothing; another clip comes.";

const SIGNED_OUT = [401, 403];

/** Why a check cannot go on, where trying again does not mend it. @param {import("./outbox.js").Reply} reply */
export function stopped({ status, body }) {
  const why = SIGNED_OUT.includes(status) ? "You are signed out on this phone." : body.error;
  return `${why} Load the page again; what you decided is kept.`;
}

/**
 * Why a look does not count, or was no call.
 * @param {string} cause as the server says it
 * @param {boolean} counts
 */
export function because(cause, counts) {
  if (counts && cause) return "This page was out of sight again while it ran. The second time, that is no call.";
  if (counts) return "No call in time.";
  const why =
    {
      hidden: "This page was out of sight while the clip ran.",
      reload: "This page was loaded anew while the clip ran.",
      network: "The network was away for too long to time it.",
      offline: "The network was away, so nobody could time it: it is practice.",
    }[cause] ?? "The phone could not play this clip smoothly.";
  return `${why} It does not count; another one comes.`;
}

/**
 * What a phone showed of the clip that tests it, in words: what was amiss and what helps. Empty: nothing was.
 * @param {{load: number, play: number, dropped: number}} told
 * @param {number} length of the clip in ms
 * @param {boolean} touched
 * @returns {string[]}
 */
export function amiss(told, length, touched) {
  const found = [];
  if (told.dropped > 0.2) found.push(`It showed about ${Math.round((1 - told.dropped) * 10)} in 10 of the pictures.`);
  if (told.play > length + 250 || told.play < length - 100) found.push("The clip did not run at its own speed.");
  if (told.load > 4000) found.push("It took long to begin.");
  if (found.length) found.push("Closing other apps helps, and so does switching off the saving of power.");
  if (!touched) found.push("No touch came through. Touch the large field below the picture, also while it still runs.");
  return found;
}
