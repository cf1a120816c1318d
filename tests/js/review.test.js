// The clock of a review and its views in step, apart from any page.

import assert from "node:assert/strict";
import { test } from "node:test";
import { figure, goneAt, leftAt, reported, spoken } from "../../static/js/lib/review-clock.js";
import { within } from "../../static/js/lib/review-views.js";

test("the time that is left runs from the reply, and never under nothing", () => {
  assert.equal(leftAt(1000, 1000, 60_000), 60_000);
  assert.equal(leftAt(31_000, 1000, 60_000), 30_000);
  assert.equal(leftAt(99_000, 1000, 60_000), 0);
});

test("after a reload the time before it counts as gone", () => {
  assert.equal(goneAt(5000, 5000, 60_000, 60_000), 0);
  assert.equal(goneAt(15_000, 5000, 60_000, 60_000), 10_000);
  assert.equal(goneAt(15_000, 5000, 20_000, 60_000), 50_000);
});

test("what is chosen at the end of the time is chosen in time; whoever comes back later was not there", () => {
  assert.equal(reported(40_000, 60_000), 40_000);
  assert.equal(reported(60_900, 60_000), 60_000);
  assert.equal(reported(goneAt(9000, 9000, -120_000, 60_000), 60_000), 180_000);
  assert.equal(leftAt(9000, 9000, -120_000), 0);
});

test("the figure shows the last second until it is over", () => {
  assert.deepEqual([90_000, 89_999, 60_000, 59_001, 1, 0].map(figure), [
    "1:30",
    "1:30",
    "1:00",
    "1:00",
    "0:01",
    "0:00",
  ]);
});

test("what is read out: the whole at the beginning, and the marks that are passed, once each", () => {
  assert.equal(spoken(null, 90_000), "90 seconds");
  assert.equal(spoken(90_000, 61_000), "");
  assert.equal(spoken(60_010, 59_990), "60 seconds left");
  assert.equal(spoken(59_990, 59_970), "");
  assert.equal(spoken(30_001, 30_000), "30 seconds left");
  assert.equal(spoken(5010, 4990), "5 seconds left");
});

test("a view that begins later shows nothing before it, and holds its last picture to the end", () => {
  const angle = { label: "high", frames: 40, starts: 10 };
  assert.deepEqual(
    [0, 9, 10, 30, 49, 60].map((frame) => within(angle, frame)),
    [null, null, 0, 20, 39, 39],
  );
});
