import assert from "node:assert/strict";
import { test } from "node:test";

import { Pace, sizeOf, timeLeft } from "../../static/js/lib/pace.js";

test("the pace is that of the last ten seconds, and not told before it is known", () => {
  const pace = new Pace();
  pace.note(0, 0);
  pace.note(500, 1000);
  assert.equal(pace.speed, 0);
  pace.note(1000, 2000);
  assert.equal(pace.speed, 500);
  for (let second = 3; second <= 20; second += 1) pace.note(1000 + (second - 2) * 2000, second * 1000);
  assert.equal(pace.speed, 2000);
});

test("a file that goes back to where it was kept begins anew", () => {
  const pace = new Pace();
  pace.note(5000, 0);
  pace.note(9000, 2000);
  pace.note(1000, 3000);
  assert.equal(pace.speed, 0);
  pace.note(2000, 5000);
  assert.equal(pace.speed, 500);
});

for (const [seconds, words] of /** @type {const} */ ([
  [0, "less than a minute left"],
  [49, "less than a minute left"],
  [60, "about a minute left"],
  [200, "about 3 minutes left"],
  [5300, "about 88 minutes left"],
  [7300, "about 2 hours left"],
])) {
  test(`${seconds} s are ${words}`, () => assert.equal(timeLeft(seconds), words));
}

for (const [bytes, words] of /** @type {const} */ ([
  [0, "0 bytes"],
  [999, "999 bytes"],
  [3_200_000, "3.2 MB"],
  [120_000_000, "120 MB"],
  [5_000_000_000, "5.0 GB"],
  [5e12, "5000 GB"],
])) {
  test(`${bytes} bytes are ${words}`, () => assert.equal(sizeOf(bytes), words));
}
