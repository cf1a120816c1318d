// Rows shared with Python (test_rows.py) and what must hold for every rate.

import assert from "node:assert/strict";
import { readFileSync } from "node:fs";
import test from "node:test";

import { clock, frameAt, secondsOf } from "../../static/js/lib/timecode.js";

/** @typedef {{frames: number, num: number, den: number, clock: string}} ClockRow */
/** @typedef {{seconds: string, num: number, den: number, frame: number}} FrameRow */

/** @type {{clocks: ClockRow[], frames: FrameRow[]}} */
const rows = JSON.parse(readFileSync(new URL("timecode.json", import.meta.url), "utf8"));

/** @type {[number, number][]} */
const RATES = [
  [24, 1],
  [24000, 1001],
  [25, 1],
  [30, 1],
  [30000, 1001],
  [50, 1],
  [60000, 1001],
  [120, 1],
];

/**
 * The value of "63/25" or "2".
 * @param {string} fraction
 * @returns {number}
 */
function quotient(fraction) {
  const [above = 0, below = 1] = fraction.split("/").map(Number);
  return above / below;
}

test("the clock reads as Python prints it", () => {
  for (const row of rows.clocks) {
    assert.equal(clock(row.frames, row.num, row.den), row.clock, `frame ${row.frames} at ${row.num}/${row.den}`);
  }
});

test("an instant shows the frame that Python finds", () => {
  for (const row of rows.frames) {
    const found = frameAt(quotient(row.seconds), row.num, row.den);
    assert.equal(found, row.frame, `${row.seconds} s at ${row.num}/${row.den}`);
  }
});

test("the start and the middle of each frame belong to it, also when told in whole microseconds", () => {
  for (const [num, den] of RATES) {
    for (let frame = 0; frame < 400_000; frame += 97) {
      const start = secondsOf(frame, num, den);
      const told = Math.floor(start * 1e6) / 1e6;
      assert.equal(frameAt(start, num, den), frame);
      assert.equal(frameAt(told, num, den), frame);
      assert.equal(frameAt(secondsOf(frame + 0.5, num, den), num, den), frame);
    }
  }
});

test("the clock counts the frames of each second from nought", () => {
  for (const [num, den] of RATES) {
    let [second, frame] = [0, -1];
    for (let frames = 0; frames < 2000; frames += 1) {
      const [minutes, seconds, inSecond] = clock(frames, num, den).split(/[:.]/).map(Number);
      const now = 60 * Number(minutes) + Number(seconds);
      assert.ok(now === second ? inSecond === frame + 1 : now === second + 1 && inSecond === 0);
      [second, frame] = [now, Number(inSecond)];
    }
  }
});
