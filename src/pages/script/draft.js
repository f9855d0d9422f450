// One draft in the storage of the browser. Knows nothing of the page.
//
// A draft holds the entries, the step, and the token under which they will be sent, so that sending
// the same draft twice is one request. It never holds a receipt.

const PREFIX = "tautpool-draft:";
const KEPT_FOR_DAYS = 30;
const MILLISECONDS_PER_DAY = 86_400_000;
const VERSION = 1;

/** A random UUID (RFC 9562, version 4), also where `randomUUID` is missing: without TLS. */
export function newToken() {
  if (crypto.randomUUID) {
    return crypto.randomUUID();
  }
  const bytes = crypto.getRandomValues(new Uint8Array(16));
  bytes[6] = (bytes[6] & 0x0f) | 0x40;
  bytes[8] = (bytes[8] & 0x3f) | 0x80;
  const digits = [...bytes].map((byte) => byte.toString(16).padStart(2, "0")).join("");
  return digits.replace(/^(.{8})(.{4})(.{4})(.{4})(.{12})$/, "$1-$2-$3-$4-$5");
}

/** A text as a draft; null when it is none, or too old to be what anyone still means to send. */
function read(text) {
  try {
    const draft = JSON.parse(text);
    const age = Date.now() - draft.savedAt;
    const usable =
      draft.version === VERSION &&
      Array.isArray(draft.entries) &&
      typeof draft.token === "string" &&
      age < KEPT_FOR_DAYS * MILLISECONDS_PER_DAY;
    return usable ? draft : null;
  } catch {
    return null;
  }
}

/** The keys of all drafts. */
function keys() {
  return Array.from({ length: localStorage.length }, (_, at) => localStorage.key(at)).filter((key) =>
    key?.startsWith(PREFIX),
  );
}

/** Drops every draft that `unwanted` names. Without a storage there is none to drop. */
function drop(unwanted) {
  try {
    for (const key of keys()) {
      if (unwanted(read(localStorage.getItem(key)))) {
        localStorage.removeItem(key);
      }
    }
  } catch {
    // A browser that forbids its storage has kept nothing.
  }
}

/** Drops the draft that arrived under this token. */
export function dropSent(token) {
  drop((draft) => draft?.token === token);
}

/** Drops what is too old or cannot be read. */
export function dropOld() {
  drop((draft) => draft === null);
}

export class DraftStore {
  #key;
  #tab = newToken();
  // What this tab last saw in the storage: null is no draft, undefined is not looked yet.
  #seen = undefined;

  constructor(study, mode) {
    this.#key = `${PREFIX}${study}:${mode}`;
  }

  /** Whether an event of the storage is about this draft. */
  concerns(event) {
    return event.key === null || event.key === this.#key;
  }

  /** Whether anything can be kept at all. Some private windows have a storage that takes nothing. */
  get works() {
    try {
      localStorage.setItem(`${PREFIX}trial`, "");
      localStorage.removeItem(`${PREFIX}trial`);
      return true;
    } catch {
      return false;
    }
  }

  /** The draft, or null. From now on this tab continues it. */
  load() {
    try {
      const text = localStorage.getItem(this.#key);
      this.#seen = text;
      return text === null ? null : read(text);
    } catch {
      return null;
    }
  }

  /** Whether another tab has changed, sent or forgotten the draft since this one looked. */
  get changedElsewhere() {
    try {
      return this.#seen !== undefined && localStorage.getItem(this.#key) !== this.#seen;
    } catch {
      return false;
    }
  }

  /** Whether there is none any more. */
  get isGone() {
    try {
      return localStorage.getItem(this.#key) === null;
    } catch {
      return false;
    }
  }

  /** Keeps a draft: "kept", or "elsewhere" or "impossible" when it could not. */
  save(content) {
    if (this.changedElsewhere) {
      return "elsewhere";
    }
    return this.replace(content);
  }

  /** Keeps a draft whatever another tab has kept. */
  replace(content) {
    try {
      const draft = { ...content, version: VERSION, tab: this.#tab, savedAt: Date.now() };
      const text = JSON.stringify(draft);
      localStorage.setItem(this.#key, text);
      this.#seen = text;
      return "kept";
    } catch {
      return "impossible";
    }
  }

  /** Forgets the draft. */
  forget() {
    try {
      localStorage.removeItem(this.#key);
    } catch {
      // Nothing was kept.
    }
    this.#seen = null;
  }
}
