import assert from "node:assert/strict";
import { test } from "node:test";

import { cellsAcross, columns, frameAt, nearest, placeOf } from "../../static/js/lib/strip.js";

/** @type {import("../../static/js/lib/strip.js").Glance} */
const GLANCE = {
  frames: 240,
  columns: 3,
  cell: [128, 72],
  at: [0, 30, 60, 90, 120, 150, 180, 210],
  peaks: [0, 255, 51],
};

test("the cells fill the width, each the nearest in time to its place", () => {
  const cells = cellsAcross(GLANCE, 256, 64);
  assert.deepEqual(
    cells.map(({ x, cell }) => [x, GLANCE.at[cell]]),
    [
      [0, 30],
      [64, 90],
      [128, 150],
      [192, 210],
    ],
  );
});

test("one cell stands for a width of nothing", () => {
  assert.equal(cellsAcross(GLANCE, 0, 64).length, 1);
});

test("the nearest of entries that ascend", () => {
  assert.deepEqual(
    [nearest([0, 30, 60], -5), nearest([0, 30, 60], 44), nearest([0, 30, 60], 46), nearest([], 9)],
    [0, 1, 2, 0],
  );
});

test("a cell lies in its row and column of the sheet", () => {
  assert.deepEqual(placeOf(GLANCE, 4), { x: 128, y: 72 });
});

test("columns of the sound keep the loudest of what they stand for", () => {
  assert.deepEqual(columns(GLANCE.peaks, 1), [1]);
  assert.deepEqual(columns(GLANCE.peaks, 6), [0, 0, 1, 1, 0.2, 0.2]);
  assert.deepEqual(columns([], 6), []);
});

test("a place means a frame, and beyond the ends the first or the last", () => {
  assert.deepEqual([frameAt(240, -3, 100), frameAt(240, 50, 100), frameAt(240, 100, 100)], [0, 120, 239]);
});
