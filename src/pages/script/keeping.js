// Keeps the draft while the form is filled in, and says plainly what is kept and where.

import { DraftStore, dropOld, newToken } from "./draft.js";
import { contradicts, entriesOf, isConsent, putBack, shownBy } from "./entries.js";
import { announce, button, make, settled, thisDevice } from "./words.js";

// Long enough not to write at every letter, short enough to lose none to a closed page.
const AFTER_TYPING = 400;

/** Which draft this page is about: new sessions, further ones of a receipt, or a correction. */
function modeOf(form) {
  const correcting = form.elements.namedItem("correcting")?.value;
  const receipt = form.elements.namedItem("receipt");
  if (correcting) {
    return `correction:${correcting}`;
  }
  return receipt?.type === "hidden" && receipt.value ? "further" : "new";
}

/** Whether the page is the server's answer to entries, rather than an empty form. */
function isAnswer(form, draft) {
  return (
    form.querySelector(".fault") !== null ||
    document.getElementById("summary") !== null ||
    (draft !== null && form.elements.namedItem("token").value === draft.token)
  );
}

/** A time in words, such as "25 Nov, 16:40". */
function moment(time) {
  const parts = { day: "numeric", month: "short", hour: "2-digit", minute: "2-digit" };
  return new Intl.DateTimeFormat("en-GB", parts).format(time);
}

export class Keeper {
  #form;
  #steps;
  #store;
  #marks = {};
  #touched = false;
  // Why this tab keeps nothing; empty when it does.
  #suspended = "";
  #failed = false;
  #answers = false;
  // What is said of a draft that was put back, until something is changed.
  #restored = "";
  // Not known until the worker has answered.
  #opensAgain = null;
  #afterTyping = settled(() => this.save(), AFTER_TYPING);

  /** `afterwards` is called when entries were put back or forgotten. */
  constructor(form, steps, afterwards) {
    this.#form = form;
    this.#steps = steps;
    this.afterwards = afterwards;
    this.#store = new DraftStore(form.dataset.study, modeOf(form));
    if (this.#store.works) {
      // The draft brings entries back. A browser that did so by itself could bring back what was
      // sent already, under a token that was not.
      form.autocomplete = "off";
    }
  }

  /** What is noted with the draft beside its entries: whether it waits, what was carried over. */
  get marks() {
    return this.#marks;
  }

  /** Whether another tab has the draft, so that this one must not act by itself. */
  get suspended() {
    return this.#suspended !== "";
  }

  /** Whether what is entered outlives the page. */
  get keeps() {
    return this.#store.works && !this.#failed && !this.#suspended;
  }

  /** Whether the page can be opened again without signal; one that holds a receipt never is kept. */
  get opensAgain() {
    return this.#opensAgain === true && !this.holdsReceipt;
  }

  set opensAgain(can) {
    this.#opensAgain = can;
    this.#note();
  }

  /** Whether a receipt stands in the form. */
  get holdsReceipt() {
    return Boolean(this.#form.elements.namedItem("receipt")?.value);
  }

  /** Whether the entries belong to a receipt that has to be typed again. */
  get lacksReceipt() {
    return Boolean(this.#marks.hadReceipt) && !this.holdsReceipt;
  }

  /** Looks for a draft and puts it back, or keeps what the server's answer shows. */
  begin() {
    dropOld();
    const draft = this.#store.load();
    const token = this.#form.elements.namedItem("token");
    this.#answers = isAnswer(this.#form, draft);
    if (this.#answers) {
      this.#touched = true;
      this.#steps.begin(this.#steps.shown);
      this.save();
      document.getElementById("summary")?.focus();
    } else if (draft && contradicts(this.#form, draft.entries)) {
      token.value = newToken();
      this.#steps.begin(this.#steps.shown);
      const others = `Other entries, of ${moment(draft.savedAt)}, are kept and not sent.`;
      this.#suspend(`${others} So that they are not lost, this page keeps nothing now.`);
    } else if (draft) {
      this.#restore(draft);
    } else {
      // A page may come from the worker with a token that was used already. Where nothing is kept,
      // the browser itself may have brought entries back, which stay under the token they had.
      const before = this.#store.works ? undefined : history.state?.token;
      token.value = before ?? newToken();
      this.#steps.begin(this.#steps.shown);
      this.#note();
    }
    addEventListener("storage", (event) => {
      if (this.#store.concerns(event) && this.#store.changedElsewhere) {
        this.#suspend(this.#elsewhere());
      }
    });
    document.getElementById("forget")?.addEventListener("click", () => this.#askToForget());
    // The answer to a form that was sent before leads on to a new one, which is to be blank.
    const again = `#summary a[href="${new URL(this.#form.action).pathname}"]`;
    document.querySelector(again)?.addEventListener("click", () => this.#drop());
  }

  #restore(draft) {
    const otherWords = draft.shown !== shownBy(this.#form);
    putBack(this.#form, draft.entries, (control) => otherWords && isConsent(control));
    this.#form.elements.namedItem("token").value = draft.token;
    this.#marks = draft.marks ?? {};
    this.#touched = true;
    this.#steps.begin(draft.step);
    this.#restored = `Your entries of ${moment(draft.savedAt)} are back.`;
    this.#note();
    this.afterwards();
  }

  /** To be called at every change: the draft is kept a moment later. */
  changed() {
    this.#touched = true;
    this.#restored = "";
    this.#afterTyping();
  }

  /** Keeps the draft now; marks that are given are noted with it. */
  save(marks = {}) {
    this.#afterTyping.cancel();
    Object.assign(this.#marks, marks);
    if (!this.#touched || this.#suspended) {
      return;
    }
    const done = this.#store.save(this.#content());
    if (done === "elsewhere") {
      this.#suspend(this.#elsewhere());
    } else {
      this.#failed = done === "impossible";
      this.#note();
    }
  }

  #content() {
    return {
      token: this.#form.elements.namedItem("token").value,
      step: this.#steps.shown,
      entries: entriesOf(this.#form),
      shown: shownBy(this.#form),
      marks: { ...this.#marks, hadReceipt: this.holdsReceipt || this.lacksReceipt },
    };
  }

  /** Whether the draft was sent or forgotten while this page lay in the browser's memory. */
  get isGone() {
    return this.#touched && this.#store.isGone && this.#store.works;
  }

  #suspend(why) {
    this.#suspended = why;
    this.#restored = "";
    this.#afterTyping.cancel();
    this.#note();
    announce(why);
  }

  #elsewhere() {
    const what = this.#store.isGone ? "sent or forgotten" : "changed";
    const why = "So that no tab overwrites the other, this one keeps nothing now.";
    return `These entries were ${what} in another tab. ${why}`;
  }

  /** Brings the note up to date. */
  #note() {
    const note = document.getElementById("draft-note");
    const forget = document.getElementById("forget");
    if (!note) {
      return;
    }
    let words = note.querySelector(".words");
    if (!words) {
      words = make("span", { class: "words" });
      note.replaceChildren(words, ...(forget && note.contains(forget) ? [forget] : []));
      note.tabIndex = -1;
    }
    const sentences = this.#restored ? [this.#restored] : [];
    const buttons = [];
    if (this.#suspended) {
      sentences.push(this.#suspended);
      buttons.push(button("Keep the entries you see", () => this.#keepThese()));
      if (!this.#store.isGone) {
        buttons.push(button("Show the other ones", () => this.#takeThose()));
      }
    } else if (!this.keeps) {
      sentences.push(
        "This browser cannot keep what you enter: it is lost when the page is closed.",
      );
    } else if (this.#touched) {
      sentences.push(
        `Your entries are kept on ${thisDevice()} until you send or forget them, 30 days at most.`,
      );
    }
    if (this.lacksReceipt) {
      sentences.push("Your receipt is never kept: enter it again before you send.");
    }
    if (this.#opensAgain !== null) {
      sentences.push(
        this.opensAgain
          ? "This page also opens without signal."
          : "Keep this page open while you have no signal: without signal it does not open again.",
      );
    }
    const text = `${sentences.join(" ")} `;
    if (words.textContent !== text || buttons.length || words.querySelector("button")) {
      words.replaceChildren(text, ...buttons.flatMap((one) => [one, " "]));
    }
    note.hidden = sentences.length === 0;
    if (forget && !document.getElementById("forgetting")) {
      forget.hidden = !this.#touched || this.#suspended || !this.keeps;
    }
  }

  #keepThese() {
    this.#suspended = "";
    this.#touched = true;
    this.#failed = this.#store.replace(this.#content()) === "impossible";
    this.#note();
    document.getElementById("draft-note").focus();
  }

  #takeThose() {
    const draft = this.#store.load();
    this.#suspended = "";
    if (draft) {
      this.#restore(draft);
    }
    document.getElementById("draft-note").focus();
  }

  #askToForget() {
    const forget = document.getElementById("forget");
    const question = make("span", { id: "forgetting" }, "Forget every entry of this form? ");
    const done = () => {
      question.remove();
      forget.hidden = false;
    };
    const yes = button("Yes, forget them", () => {
      done();
      this.#forget();
    });
    const no = button("No, keep them", () => {
      done();
      forget.focus();
    });
    question.append(yes, " ", no);
    forget.after(question);
    forget.hidden = true;
    no.focus();
  }

  #drop() {
    this.#afterTyping.cancel();
    this.#store.forget();
    this.#touched = false;
    this.#restored = "";
    this.#marks = {};
  }

  #forget() {
    this.#drop();
    if (this.#answers) {
      // The page itself was made with the entries, so only a new one is without them.
      location.replace(location.pathname);
      return;
    }
    this.#form.reset();
    this.#form.elements.namedItem("token").value = newToken();
    this.#note();
    this.afterwards({ forgotten: true });
    this.#steps.show(this.#steps.names[0], { focus: true });
    announce("Your entries are forgotten.");
  }
}
