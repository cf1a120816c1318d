/** Where an outbox is written down: the browser's own database, flushed to the disk before anything is sent. */

import { inMemory } from "./outbox.js";

/** @typedef {import("./outbox.js").Message} Message */
/** @typedef {import("./outbox.js").Store} Store */

const NAME = "pennon";
const TABLE = "outbox";

/**
 * The messages of one person in one check. A browser that keeps nothing gets a store that lasts as long as the page.
 * @param {string} of whose they are
 * @returns {Promise<Store>}
 */
export async function storeOf(of) {
  try {
    return within(await opened(), of);
  } catch {
    return inMemory();
  }
}

/** @returns {Promise<IDBDatabase>} */
function opened() {
  const asked = indexedDB.open(NAME, 1);
  asked.onupgradeneeded = () => {
    asked.result.createObjectStore(TABLE, { keyPath: "id", autoIncrement: true }).createIndex("of", "of");
  };
  return done(asked);
}

/** @param {IDBDatabase} database @param {string} of @returns {Store} */
function within(database, of) {
  const table = (/** @type {IDBTransactionMode} */ mode) =>
    database.transaction(TABLE, mode, { durability: "strict" }).objectStore(TABLE);
  return {
    all: () => done(table("readonly").index("of").getAll(of)),
    add: async (path, body) => {
      const kept = table("readwrite");
      const id = kept.add({ of, path, body });
      await written(kept.transaction);
      return { id: Number(id.result), path, body };
    },
    remove: async (id) => {
      const kept = table("readwrite");
      kept.delete(id);
      await written(kept.transaction);
    },
  };
}

/** @template T @param {IDBRequest<T>} asked @returns {Promise<T>} */
function done(asked) {
  return new Promise((resolve, reject) => {
    asked.onsuccess = () => resolve(asked.result);
    asked.onerror = () => reject(asked.error);
  });
}

/** @param {IDBTransaction} change @returns {Promise<void>} */
function written(change) {
  return new Promise((resolve, reject) => {
    change.oncomplete = () => resolve();
    change.onerror = change.onabort = () => reject(change.error);
  });
}
