// Asks the server what is wrong with the entries. It answers with the sentences and codes of the
// data interface and stores nothing.

/** How long a person waits between two steps, in milliseconds. */
export const BETWEEN_STEPS = 2_000;

/** How long a person waits after pressing Send; a phone on a court may have a weak signal. */
export const BEFORE_SENDING = 10_000;

/**
 * What is to be said of all entries as they are now: `{ faults, flags }`; `{ unreachable: true }`
 * when nobody who knows this form answered in time; `{ refused: true }` when the server would not
 * look at them.
 */
export async function faultsOf(form, limit) {
  const stop = new AbortController();
  const timer = setTimeout(() => stop.abort(), limit);
  try {
    const answer = await fetch(form.dataset.check, {
      method: "POST",
      body: new URLSearchParams(new FormData(form)),
      headers: { accept: "application/json" },
      cache: "no-store",
      signal: stop.signal,
    });
    if (!answer.ok) {
      const later = answer.status === 408 || answer.status === 429 || 500 <= answer.status;
      return later ? { unreachable: true } : { refused: true };
    }
    const document = await answer.json();
    // A network that asks for a login first answers everything with a page of its own.
    const known = document.document === "form_check" && Array.isArray(document.faults);
    const { faults, flags = [] } = document;
    return known ? { faults, flags } : { unreachable: true };
  } catch {
    return { unreachable: true };
  } finally {
    clearTimeout(timer);
  }
}
