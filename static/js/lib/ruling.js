// The ruling that a card gives for what the picture shows, equal to app/domain/ruling.py: tests/js/ruling.json holds
// rows for both. Kleene's strong three-valued logic; what is not keyed counts as "can't tell".

/**
 * @typedef {object} Card
 * @property {string[]} elements ids of what must be present for a flag
 * @property {string[]} exceptions ids of what takes the offence away
 * @property {string} inDoubt the live ruling when the picture decides nothing
 */

/** @typedef {Record<string, string>} Shows element or exception id -> present, absent, can't tell */

/**
 * @typedef {object} Judgement
 * @property {string} ruling flag, no flag
 * @property {boolean} decided whether the picture decides; otherwise the card's "in doubt" does
 * @property {string[]} reasons ids of what by itself decides against a flag, in the order of the card
 * @property {boolean} left a flag that is left
 */

/**
 * The ruling on the field.
 * @param {Card} card
 * @param {Shows} shows
 * @param {boolean} leaveIt all is present, and still no flag is wanted
 * @returns {Judgement}
 */
export function live(card, shows, leaveIt = false) {
  const reasons = [
    ...card.elements.filter((of) => shows[of] === "absent"),
    ...card.exceptions.filter((of) => shows[of] === "present"),
  ];
  if (reasons.length > 0) return { ruling: "no flag", decided: true, reasons, left: false };
  const whole =
    card.elements.every((of) => shows[of] === "present") && card.exceptions.every((of) => shows[of] === "absent");
  if (!whole) return { ruling: card.inDoubt, decided: false, reasons, left: false };
  return { ruling: leaveIt ? "no flag" : "flag", decided: true, reasons, left: leaveIt };
}

/**
 * What a quick key stands for: a flag means that all is present, a no-flag names its one reason, and no reason means
 * that the picture tells nothing.
 * @param {Card} card
 * @param {string} ruling
 * @param {string} reason
 * @returns {Shows}
 */
export function quickShows(card, ruling, reason) {
  if (ruling !== "no flag") {
    return Object.fromEntries([
      ...card.elements.map((of) => [of, "present"]),
      ...card.exceptions.map((of) => [of, "absent"]),
    ]);
  }
  if (card.elements.includes(reason)) return { [reason]: "absent" };
  return card.exceptions.includes(reason) ? { [reason]: "present" } : {};
}
