/**
 * Forms kept on this device, in IndexedDB.
 *
 * A form has a `key` (one for ever: the server takes it once), the `person` who wrote it, the
 * `address` that it goes to, its `values` as typed and its `state`: "waiting" to be sent,
 * "refused" until it is mended, or "sent" until its verdict has been read. `saved` tells one
 * saving of the same form from another.
 */

const DATABASE = "tank-log";
const FORMS = "forms";

/** Return the forms kept here, oldest first. */
export async function all() {
  const forms = await within("readonly", (store) => store.getAll());
  return forms.sort((one, other) => one.written - other.written);
}

/** Return the form of a key, or undefined. */
export const get = (key) => within("readonly", (store) => store.get(key));

/** Keep a form in place of what its key had before. */
export const keep = (form) => within("readwrite", (store) => store.put(form));

/** Forget the form of a key. */
export const drop = (key) => within("readwrite", (store) => store.delete(key));

/** Keep what became of a form that was sent, unless it has been saved anew meanwhile. */
export function settle(form, outcome) {
  return within("readwrite", (store) => {
    const asked = store.get(form.key);
    asked.onsuccess = () => {
      if (asked.result && asked.result.saved !== form.saved) return;
      store.delete(form.key);
      store.put({ ...form, ...outcome, was: form.key });
    };
    return asked;
  });
}

async function within(mode, work) {
  const database = await opened();
  try {
    return await new Promise((resolve, reject) => {
      const transaction = database.transaction(FORMS, mode, { durability: "strict" });
      const asked = work(transaction.objectStore(FORMS));
      transaction.oncomplete = () => resolve(asked.result);
      transaction.onabort = () => reject(transaction.error);
    });
  } finally {
    database.close();
  }
}

function opened() {
  return new Promise((resolve, reject) => {
    const asked = indexedDB.open(DATABASE, 1);
    asked.onupgradeneeded = () => asked.result.createObjectStore(FORMS, { keyPath: "key" });
    asked.onsuccess = () => resolve(asked.result);
    asked.onerror = () => reject(asked.error);
  });
}
