// Sends the form: now, or when there is signal again. The token makes any repeat the same request.

import { BEFORE_SENDING, faultsOf } from "./check.js";
import { button, make, thisDevice } from "./words.js";

// How often a waiting form tries by itself, beside every sign that there may be signal again.
const BETWEEN_TRIES = 30_000;

// How long the answer page may take before the button may be pressed again.
const ANSWER_WITHIN = 30_000;

export class Sending {
  #form;
  #steps;
  #faults;
  #keeper;
  #busy = false;
  #passing = false;
  #words = new Map();
  #timer = null;
  #changes = 0;

  constructor(form, steps, faults, keeper) {
    this.#form = form;
    this.#steps = steps;
    this.#faults = faults;
    this.#keeper = keeper;
    addEventListener("online", () => this.#tryAgain());
    document.addEventListener("visibilitychange", () => {
      if (!document.hidden) {
        this.#tryAgain();
      }
    });
    setInterval(() => this.#tryAgain(), BETWEEN_TRIES);
  }

  /** Whether the form is on its way now. */
  get isBusy() {
    return this.#busy;
  }

  /** Whether the browser is to send the form as it is: it was checked. */
  get isPassing() {
    return this.#passing;
  }

  /** Whether the form waits for signal. */
  get isWaiting() {
    return Boolean(this.#keeper.marks.waiting);
  }

  /** Takes up a form that waited, or that was on its way, when the page was closed. */
  begin() {
    if (this.isWaiting) {
      this.#sayWaiting();
      this.#tryAgain();
    } else if (this.#keeper.marks.onItsWay) {
      this.#say(
        "Your last sending may not have arrived. Press Send again: the same entries count only once.",
      );
    }
  }

  /** The person pressed Send. */
  async send() {
    await this.#attempt(true);
  }

  /** Something was entered after all: nothing half-done may leave by itself. */
  changed() {
    this.#changes += 1;
    if (this.isWaiting && !this.#busy) {
      this.#standBack();
    }
  }

  #standBack() {
    this.#keeper.save({ waiting: false });
    this.#say("You changed something, so nothing is sent by itself. Press Send when it is right.");
  }

  /** The page is in sight again, perhaps from the browser's memory. */
  settle() {
    this.#passing = false;
    this.#setBusy(false);
  }

  /** Nothing is to be sent any more. */
  cancel() {
    this.#keeper.save({ waiting: false, onItsWay: false });
    this.#hush();
  }

  #tryAgain() {
    if (this.isWaiting && !this.#keeper.suspended) {
      this.#attempt(false);
    }
  }

  async #attempt(asked) {
    if (this.#busy) {
      return;
    }
    if (this.#keeper.lacksReceipt) {
      this.#keeper.save({ waiting: false });
      const without = button("Send without a receipt", () => {
        this.#keeper.marks.hadReceipt = false;
        this.send();
      });
      this.#say("Not sent: your receipt is never kept. Enter it again, then press Send.", without);
      this.#showNote(asked);
      return;
    }
    this.#setBusy(true);
    this.#keeper.save();
    const before = this.#changes;
    const { faults, flags, unreachable } = await faultsOf(this.#form, BEFORE_SENDING);
    if (!asked && !this.isWaiting) {
      // It was called off while the answer was on its way.
      this.#setBusy(false);
    } else if (before !== this.#changes) {
      // What was checked is no longer what stands in the form.
      this.#setBusy(false);
      this.#standBack();
    } else if (unreachable) {
      this.#setBusy(false);
      this.#keeper.save({ waiting: true });
      this.#sayWaiting();
      this.#showNote(asked);
    } else if (faults?.length) {
      this.#setBusy(false);
      this.#keeper.save({ waiting: false });
      this.#mend(faults, flags, asked);
    } else if (this.#faults.list(flags ?? []) && asked) {
      this.#setBusy(false);
      this.#keeper.save({ waiting: false });
      this.#lookAgain();
    } else {
      this.#pass();
    }
  }

  /** Lets the browser send the form itself, so that the answer and the receipt come as a page. */
  #pass() {
    this.#faults.noSummary();
    this.#keeper.save({ waiting: false, onItsWay: true });
    this.#say("Sending\u2026");
    this.#passing = true;
    this.#form.requestSubmit(this.#buttons()[0]);
    this.#passing = false;
    this.#timer = setTimeout(() => {
      this.#setBusy(false);
      this.#say("There is no answer yet. You may press Send again: the same entries count only once.");
    }, ANSWER_WITHIN);
  }

  /** Shows once what came up only now and is worth a second look. */
  #lookAgain() {
    this.#say("Not sent yet: look at this again, then press Send.");
    const list = document.getElementById("flags");
    list.focus({ preventScroll: true });
    list.scrollIntoView({ block: "start", behavior: "instant" });
  }

  #mend(faults, flags, asked) {
    this.#faults.finish(this.#steps.names);
    this.#faults.atFields(faults, flags);
    const first = this.#steps.names.find((name) => faults.some((fault) => fault.step === name));
    if (asked) {
      this.#hush();
      this.#steps.show(first, { focus: false });
    } else {
      this.#say("Not sent: something has to be mended first.");
    }
    // Whoever pressed nothing may be in the middle of something else, and is not moved.
    this.#faults.summary(faults, { focus: asked });
  }

  #buttons() {
    return [...this.#form.querySelectorAll('button[name="do"][value="send"]')];
  }

  #setBusy(busy) {
    this.#busy = busy;
    clearTimeout(this.#timer);
    for (const one of this.#buttons()) {
      if (busy) {
        this.#words.set(one, this.#words.get(one) ?? one.textContent);
        one.textContent = "Sending\u2026";
        one.setAttribute("aria-busy", "true");
        one.setAttribute("aria-disabled", "true");
      } else if (this.#words.has(one)) {
        one.textContent = this.#words.get(one);
        one.removeAttribute("aria-busy");
        one.removeAttribute("aria-disabled");
      }
    }
  }

  #sayWaiting() {
    const { keeps, opensAgain } = this.#keeper;
    const kept = keeps ? ` Your entries are kept on ${thisDevice()}.` : "";
    const later =
      keeps && opensAgain
        ? "They will be sent when this page is open and there is signal."
        : "They will be sent when there is signal, as long as this page stays open.";
    this.#say(
      `Not sent yet: the service cannot be reached.${kept} ${later}`,
      button("Cancel sending", () => {
        this.cancel();
        this.#steps.headingOf(this.#steps.shown).focus();
      }),
    );
  }

  #say(words, ...buttons) {
    const note = document.getElementById("signal-note");
    if (!note || note.dataset.words === words) {
      return;
    }
    note.hidden = false;
    note.dataset.words = words;
    note.replaceChildren(make("span", {}, words), ...buttons.flatMap((one) => [" ", one]));
  }

  /** Takes whoever pressed Send, far down the page, to the note that says what came of it. */
  #showNote(asked) {
    const note = document.getElementById("signal-note");
    if (note && asked) {
      note.tabIndex = -1;
      note.focus({ preventScroll: true });
      note.scrollIntoView({ block: "start", behavior: "instant" });
    }
  }

  /** Says something beside the steps, for example that a check has to wait. */
  say(words) {
    this.#say(words);
  }

  #hush() {
    const note = document.getElementById("signal-note");
    if (note) {
      note.hidden = true;
      note.dataset.words = "";
      note.replaceChildren();
    }
  }

  /** Takes away what was said, unless it is about a form that waits. */
  hush() {
    if (!this.isWaiting) {
      this.#hush();
    }
  }
}
