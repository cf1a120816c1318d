// The clock of one look, and the outbox that loses no decision.

import assert from "node:assert/strict";
import test from "node:test";

import { dropped, left, measured, secondsLeft } from "../../static/js/lib/look-clock.js";
import { soon } from "../../static/js/lib/look-server.js";
import { amiss, because, stopped } from "../../static/js/lib/look-words.js";
import { inMemory, Outbox } from "../../static/js/lib/outbox.js";

test("a decision after the end is told with the play as it was", () => {
  assert.deepEqual(measured(1000, 1200.4, 7205.2, 8000, 6000), { load: 200, play: 6005, decide: 795 });
});

test("a decision while it plays counts as before the end of the whole clip", () => {
  assert.deepEqual(measured(1000, 1200, null, 4200, 6000), { load: 200, play: 6000, decide: -3000 });
});

test("load, play and decision together are the time that has passed", () => {
  for (const [first, last, pressed] of /** @type {[number, number | null, number][]} */ ([
    [1300, 7300, 9000],
    [1300, null, 2000],
    [1001, 8000, 8001],
  ])) {
    const told = measured(1000, first, last, pressed, 6000);
    assert.equal(told.load + told.play + told.decide, pressed - 1000);
  }
});

test("the clock is whole while the picture plays, and runs out at the deadline", () => {
  assert.equal(left(9999, null, 5000), 1);
  assert.equal(left(1000, 1000, 5000), 1);
  assert.equal(left(3500, 1000, 5000), 0.5);
  assert.equal(left(6000, 1000, 5000), 0);
  assert.equal(left(99_000, 1000, 5000), 0);
});

test("the figure holds each second until it is over", () => {
  const figures = [1, 0.81, 0.8, 0.61, 0.2, 0.01, 0].map((share) => secondsLeft(share, 5000));
  assert.deepEqual(figures, [5, 5, 4, 4, 1, 1, 0]);
});

test("frames that were not shown are a share of all", () => {
  assert.equal(dropped(150, 200), 0.25);
  assert.equal(dropped(201, 200), 0);
  assert.equal(dropped(3, 0), 0);
});

/** @typedef {import("../../static/js/lib/outbox.js").Reply} Reply */

/** @param {string} idempotency @returns {Reply} */
const taken = (idempotency) => ({ status: 200, body: { idempotency } });

/**
 * A server that gives these replies, one after another, and then takes everything.
 * @param {(Reply | null)[]} replies
 */
function server(replies) {
  /** @type {string[]} */
  const got = [];
  const send = async (/** @type {import("../../static/js/lib/outbox.js").Message} */ { path, body }) => {
    got.push(path);
    return replies.length ? (replies.shift() ?? null) : taken(body.idempotency);
  };
  return { got, send };
}

test("a message is written down before it is sent, and gone once it is answered", async () => {
  const store = inMemory();
  const box = new Outbox(store, async ({ body }) => {
    assert.deepEqual(
      (await store.all()).map((each) => each.path),
      ["/a"],
    );
    return taken(body.idempotency);
  });
  assert.equal((await box.post("/a", { idempotency: "one" })).status, 200);
  assert.deepEqual(await store.all(), []);
  assert.equal(box.length, 0);
});

const NO_ANSWERS = /** @type {[string, Reply | null][]} */ ([
  ["no network", null],
  ["a page to sign in to a hotel", { status: 200, body: { welcome: true } }],
  ["a reply to another message", taken("another")],
  ["signed out", { status: 401, body: { error: "You are not signed in." } }],
  ["an old form", { status: 403, body: { error: "This form was opened before you signed in." } }],
  ["a gateway that finds nothing", { status: 404, body: { error: "not found" } }],
  ["too many", { status: 429, body: { error: "later" } }],
  ["broken", { status: 500, body: { error: "broken" } }],
  ["busy", { status: 503, body: { error: "busy" } }],
  ["a conflict that is not ours", { status: 409, body: {} }],
]);

for (const [name, no] of NO_ANSWERS) {
  test(`it is kept: ${name}`, async () => {
    const { got, send } = server([no, no]);
    const store = inMemory();
    const box = new Outbox(store, send);
    const reply = box.post("/a", { idempotency: "one" });
    await new Promise((later) => setTimeout(later));
    assert.equal(await box.flush(), false);
    assert.equal((await store.all()).length, 1);
    assert.equal(await box.flush(), true);
    assert.deepEqual(await reply, taken("one"));
    assert.deepEqual(got, ["/a", "/a", "/a"]);
  });
}

for (const status of [409, 422]) {
  test(`the server's own ${status} is its last word`, async () => {
    const { got, send } = server([{ status, body: { error: "no" } }]);
    const store = inMemory();
    assert.equal((await new Outbox(store, send).post("/a", { idempotency: "one" })).status, status);
    assert.deepEqual([got, await store.all()], [["/a"], []]);
  });
}

test("messages keep their order, and nothing overtakes one that waits", async () => {
  const { got, send } = server([null]);
  const box = new Outbox(inMemory(), send);
  const replies = [box.post("/a", { idempotency: "one" }), box.post("/b", { idempotency: "two" })];
  await new Promise((later) => setTimeout(later));
  assert.deepEqual(got, ["/a"]);
  await box.flush();
  await Promise.all(replies);
  assert.deepEqual(got, ["/a", "/a", "/b"]);
});

test("nothing is left only when what was posted just now has been answered too", async () => {
  const { got, send } = server([]);
  const box = new Outbox(inMemory(), send);
  box.post("/a", { idempotency: "one" });
  assert.equal(await box.flush(), true);
  assert.deepEqual(got, ["/a"]);
});

test("what cannot be written down is sent from memory", async () => {
  const full = { ...inMemory(), add: () => Promise.reject(new Error("full")) };
  const { got, send } = server([]);
  assert.deepEqual(await new Outbox(full, send).post("/a", { idempotency: "one" }), taken("one"));
  assert.deepEqual(got, ["/a"]);
});

test("what an earlier page left is sent first by the next one", async () => {
  const store = inMemory();
  new Outbox(store, async () => null).post("/a", { idempotency: "one" });
  await new Promise((later) => setTimeout(later));
  const { got, send } = server([]);
  const second = new Outbox(store, send);
  await second.begin();
  await second.post("/b", { idempotency: "two" });
  assert.deepEqual(got, ["/a", "/b"]);
});

test("what is said of a look names its true cause, and reproaches nobody", () => {
  const causes = ["hidden", "reload", "slow", "network", "offline"];
  const said = causes.map((cause) => because(cause, false));
  assert.equal(new Set(said).size, causes.length);
  assert.deepEqual(
    causes.filter((_, k) => said[k]?.includes("phone")),
    ["slow"],
  );
  for (const each of said) assert.match(each, /does not count/);
  assert.equal(because("", true), "No call in time.");
  assert.match(because("hidden", true), /out of sight again/);
});

test("a phone that plays and is touched has nothing amiss", () => {
  assert.deepEqual(amiss({ load: 40, play: 3010, dropped: 0.02 }, 3000, true), []);
});

test("what is amiss is told with what helps", () => {
  const [shown, speed, load, helps] = amiss({ load: 5000, play: 3600, dropped: 0.42 }, 3000, true);
  assert.match(`${shown}`, /about 6 in 10/);
  assert.match(`${speed}`, /own speed/);
  assert.match(`${load}`, /long to begin/);
  assert.match(`${helps}`, /helps/);
  assert.equal(amiss({ load: 40, play: 3010, dropped: 0 }, 3000, false).length, 1);
});

test("what comes in time is had, what does not is waited for no longer", async () => {
  assert.equal(await soon(Promise.resolve(3), 1000), 3);
  assert.equal(await soon(new Promise(() => {}), 5), null);
});

test("who is signed out is told so, and what else went wrong by the server's own words", () => {
  const kept = "Load the page again; what you decided is kept.";
  assert.equal(stopped({ status: 403, body: { error: "No." } }), `You are signed out on this phone. ${kept}`);
  assert.equal(stopped({ status: 409, body: { error: "Too late." } }), `Too late. ${kept}`);
});
