// Boxes of a picture in whole, even pixels: drawn between two points, moved, made larger or smaller. Pure.

/** @typedef {{left: number, top: number, width: number, height: number}} Box in pixels of the picture */
/** @typedef {{width: number, height: number, locked: boolean}} Sheet the picture; locked: boxes have its shape */

const LEAST = 16;

/** @param {number} value */
const even = (value) => 2 * Math.round(value / 2);

/**
 * @param {number} value
 * @param {number} least
 * @param {number} most
 */
const within = (value, least, most) => Math.min(most, Math.max(least, value));

/**
 * A box of about this place and size that lies in the picture, with even edges.
 * @param {Box} box
 * @param {Sheet} sheet
 * @returns {Box}
 */
export function fitted(box, sheet) {
  let width = even(within(box.width, LEAST, sheet.width));
  let height = even(within(box.height, LEAST, sheet.height));
  if (sheet.locked) {
    const share = Math.min(1, Math.max(box.width / sheet.width, box.height / sheet.height, LEAST / sheet.height));
    width = even(share * sheet.width);
    height = even((width * sheet.height) / sheet.width);
  }
  return {
    left: even(within(box.left, 0, sheet.width - width)),
    top: even(within(box.top, 0, sheet.height - height)),
    width,
    height,
  };
}

/**
 * The box between two corners.
 * @param {{x: number, y: number}} one
 * @param {{x: number, y: number}} other
 * @param {Sheet} sheet
 */
export function between(one, other, sheet) {
  const [left, top] = [Math.min(one.x, other.x), Math.min(one.y, other.y)];
  return fitted({ left, top, width: Math.abs(one.x - other.x), height: Math.abs(one.y - other.y) }, sheet);
}

/**
 * @param {Box} box
 * @param {number} dx
 * @param {number} dy
 * @param {Sheet} sheet
 */
export function moved(box, dx, dy, sheet) {
  return fitted({ ...box, left: box.left + dx, top: box.top + dy }, sheet);
}

/**
 * The same left upper corner, so much wider and taller; one with the shape of the picture follows the larger change.
 * @param {Box} box
 * @param {number} dx
 * @param {number} dy
 * @param {Sheet} sheet
 */
export function sized(box, dx, dy, sheet) {
  const room = { width: sheet.width - box.left, height: sheet.height - box.top };
  const [width, height] = [Math.min(box.width + dx, room.width), Math.min(box.height + dy, room.height)];
  if (!sheet.locked) return fitted({ ...box, width, height }, sheet);
  const larger = Math.abs(dx) >= Math.abs(dy) ? width / sheet.width : height / sheet.height;
  const share = Math.min(larger, room.width / sheet.width, room.height / sheet.height);
  return fitted({ ...box, width: share * sheet.width, height: share * sheet.height }, sheet);
}

/**
 * Where a box begins that nobody has drawn yet: half of the picture, in its middle.
 * @param {Sheet} sheet
 */
export function middle(sheet) {
  const [width, height] = [sheet.width / 2, sheet.height / 2];
  return fitted({ left: width / 2, top: height / 2, width, height }, sheet);
}
