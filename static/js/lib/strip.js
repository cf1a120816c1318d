// The strip under a recording: which small picture stands where, which frame a place means. Pure.

/**
 * @typedef {{frames: number, columns: number, cell: [number, number], at: number[], peaks: number[]}} Glance
 * What the server knows of a recording: its frames, the cells of its strip with the frame of each, its peaks (0 to 255).
 */

/**
 * The cells that fill a width, left to right: for each place the cell nearest in time.
 * @param {Glance} glance
 * @param {number} width in pixels
 * @param {number} cellWidth in pixels, as drawn
 * @returns {{x: number, cell: number}[]}
 */
export function cellsAcross(glance, width, cellWidth) {
  const count = Math.max(1, Math.ceil(width / cellWidth));
  return Array.from({ length: count }, (_, k) => {
    const frame = ((k + 0.5) * cellWidth * glance.frames) / Math.max(1, width);
    return { x: k * cellWidth, cell: nearest(glance.at, frame) };
  });
}

/**
 * Index of the entry that is nearest to a value; the entries ascend.
 * @param {number[]} entries
 * @param {number} value
 */
export function nearest(entries, value) {
  let best = 0;
  for (const [k, entry] of entries.entries()) {
    if (Math.abs(entry - value) < Math.abs((entries[best] ?? 0) - value)) best = k;
  }
  return best;
}

/**
 * Where a cell lies in the sheet, in pixels of the sheet.
 * @param {Glance} glance
 * @param {number} cell
 */
export function placeOf(glance, cell) {
  const [width, height] = glance.cell;
  return { x: (cell % glance.columns) * width, y: Math.floor(cell / glance.columns) * height };
}

/**
 * Heights of the columns of the sound, 0 to 1, for so many pixels.
 * @param {number[]} peaks
 * @param {number} width in pixels
 * @returns {number[]}
 */
export function columns(peaks, width) {
  if (peaks.length === 0) return [];
  return Array.from({ length: width }, (_, x) => {
    const first = Math.floor((x * peaks.length) / width);
    const end = Math.max(first + 1, Math.floor(((x + 1) * peaks.length) / width));
    return Math.max(...peaks.slice(first, end)) / 255;
  });
}

/**
 * The frame that a place means.
 * @param {number} frames
 * @param {number} x in pixels
 * @param {number} width in pixels
 */
export function frameAt(frames, x, width) {
  return Math.min(frames - 1, Math.max(0, Math.floor((x / Math.max(1, width)) * frames)));
}
