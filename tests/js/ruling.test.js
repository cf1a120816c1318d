// Rows shared with Python (test_ruling_rows.py), and what a quick key stands for.

import assert from "node:assert/strict";
import { readFileSync } from "node:fs";
import test from "node:test";

import { live, quickShows } from "../../static/js/lib/ruling.js";

/**
 * @typedef {object} Row
 * @property {string} doubt
 * @property {Record<string, string>} shows
 * @property {boolean} leave
 * @property {string} ruling
 * @property {boolean} decided
 * @property {boolean} left
 * @property {string[]} reasons
 */

/** @type {Row[]} */
const rows = JSON.parse(readFileSync(new URL("ruling.json", import.meta.url), "utf8"));
const card = { elements: ["one", "two"], exceptions: ["lifts"], inDoubt: "no flag" };

test("the card gives what the server's card gives", () => {
  for (const { doubt, shows, leave, ruling, decided, left, reasons } of rows) {
    assert.deepEqual(live({ ...card, inDoubt: doubt }, shows, leave), { ruling, decided, left, reasons });
  }
});

test("what is not keyed counts as can't tell", () => {
  assert.deepEqual(live(card, {}), { ruling: "no flag", decided: false, left: false, reasons: [] });
  assert.equal(live(card, { one: "present", two: "present" }).decided, false);
});

test("a quick flag means that all is present and nothing lifts it", () => {
  assert.deepEqual(quickShows(card, "flag", "two"), { one: "present", two: "present", lifts: "absent" });
  assert.deepEqual(quickShows(card, "leave it", ""), { one: "present", two: "present", lifts: "absent" });
});

test("a quick no-flag says its one reason and nothing else", () => {
  assert.deepEqual(quickShows(card, "no flag", "two"), { two: "absent" });
  assert.deepEqual(quickShows(card, "no flag", "lifts"), { lifts: "present" });
  assert.deepEqual(quickShows(card, "no flag", "can't tell"), {});
});
