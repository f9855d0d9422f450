// The contributor's form with script: a draft on the phone, steps and entries without the network,
// figures and faults while typing, and sending later. Without this script the form works too.

import { BETWEEN_STEPS, faultsOf } from "./check.js";
import { dropSent } from "./draft.js";
import { carryOver } from "./entries.js";
import { Faults } from "./faults.js";
import { showFigures } from "./figures.js";
import { Keeper } from "./keeping.js";
import { followEntries, followStep, showDigest } from "./page.js";
import { Sending } from "./sending.js";
import { Steps } from "./steps.js";
import { announce, make, settled } from "./words.js";

// A field is checked by itself this long after it was left, in milliseconds.
const AFTER_LEAVING = 1_000;

/** The page that answers a sending names its token: that draft has arrived. */
function dropWhatArrived() {
  const token =
    document.querySelector('meta[name="tautpool-sent"]')?.content ??
    document.querySelector("[data-sent]")?.dataset.sent;
  if (token) {
    dropSent(token);
  }
}

/** Copies what stands elsewhere on the page, such as a receipt. */
function offerCopies() {
  for (const button of document.querySelectorAll("button[data-copy]")) {
    const source = document.getElementById(button.dataset.copy);
    if (!source || !navigator.clipboard) {
      continue;
    }
    button.hidden = false;
    button.addEventListener("click", async () => {
      try {
        await navigator.clipboard.writeText(source.textContent.trim());
        button.textContent = "Copied";
      } catch {
        button.textContent = "Not copied: mark the receipt and copy it";
      }
    });
  }
}

/** Lets the page open without signal. Answers whether that is possible and done. */
async function keepPage() {
  try {
    await navigator.serviceWorker.register("/worker.js");
    const { active } = await navigator.serviceWorker.ready;
    return await new Promise((answer) => {
      const channel = new MessageChannel();
      channel.port1.onmessage = (event) => answer(event.data === "kept");
      active.postMessage({ keep: location.pathname }, [channel.port2]);
    });
  } catch {
    // There is no worker without TLS, and none in some private windows.
    return false;
  }
}

class Page {
  #form;
  #steps;
  #faults;
  #keeper;
  #sending;
  #checks = 0;
  #going = false;
  #checkQuietly = settled(() => this.#quietCheck(), AFTER_LEAVING);

  constructor(form) {
    this.#form = form;
    this.#steps = new Steps(form, (section) => this.#arrive(section));
    this.#faults = new Faults(form, this.#steps);
    this.#keeper = new Keeper(form, this.#steps, (what) => this.#changedAsAWhole(what));
    this.#sending = new Sending(form, this.#steps, this.#faults, this.#keeper);
  }

  begin() {
    this.#keeper.begin();
    this.#follow();
    this.#sending.begin();
    const form = this.#form;
    form.addEventListener("input", (event) => {
      this.#follow();
      if (event.target.name === "receipt") {
        this.#keeper.marks.hadReceipt = event.target.value !== "";
      }
      this.#keeper.changed();
      this.#sending.changed();
    });
    form.addEventListener("change", (event) => this.#left(event.target));
    form.addEventListener("submit", (event) => this.#pressed(event));
    form.addEventListener("keydown", (event) => this.#entered(event));
    addEventListener("pagehide", () => this.#keeper.save());
    addEventListener("pageshow", (event) => this.#inSightAgain(event));
    keepPage().then((kept) => {
      this.#keeper.opensAgain = kept;
    });
  }

  /** Brings the page up to date with its entries. */
  #follow() {
    followEntries(this.#form);
    followStep(this.#form, this.#steps);
    showFigures(this.#form);
  }

  #inSightAgain(event) {
    if (event.persisted && this.#keeper.isGone) {
      // The entries in sight were sent; another sending would only repeat it.
      location.replace(location.pathname);
    } else if (event.persisted) {
      this.#sending.settle();
    }
  }

  #changedAsAWhole({ forgotten } = {}) {
    this.#follow();
    if (forgotten) {
      this.#form.querySelectorAll(".taken-over").forEach((words) => words.remove());
      this.#faults.atFields([], []);
      this.#faults.list([]);
      this.#faults.noSummary();
      this.#sending.cancel();
    }
  }

  /** A step came into sight. The first time, a session is filled in from the first one. */
  #arrive(section) {
    const name = section.dataset.step;
    if (section.querySelector("#digest")) {
      showDigest(this.#form, this.#steps);
      // Whoever came here past the steps is told too what is worth a second look.
      this.#checkQuietly();
    }
    // The first call comes while the page is still being put together.
    const arrived = this.#keeper?.marks.arrived ?? [];
    if (!this.#keeper || !section.querySelector("[data-same-as]") || arrived.includes(name)) {
      this.#keeper?.save();
      return;
    }
    const filled = carryOver(this.#form, section);
    if (filled) {
      const words = "Some of it is taken over from the first session. Change what was different.";
      section.querySelector("h2").after(make("p", { class: "hint taken-over" }, words));
      announce(words);
      this.#follow();
    }
    this.#keeper.save({ arrived: [...arrived, name] });
  }

  #left(control) {
    if (control.name) {
      this.#faults.leave(control.name);
      this.#checkQuietly();
    }
  }

  /** Checks what was left, without moving anyone and without a word when nobody answers. */
  async #quietCheck() {
    const { faults, flags, isLatest } = await this.#ask(BETWEEN_STEPS);
    if (faults && isLatest && !this.#sending.isBusy) {
      // Spoken for readers who cannot see it appear beside the field.
      announce(this.#faults.atFields(faults, flags));
      this.#faults.list(flags);
    }
  }

  /** Asks the server; an answer that a later question has overtaken says so. */
  async #ask(limit) {
    this.#checks += 1;
    const own = this.#checks;
    const answer = await faultsOf(this.#form, limit);
    return { ...answer, isLatest: own === this.#checks };
  }

  #pressed(event) {
    if (this.#sending.isPassing) {
      return;
    }
    const pressed = event.submitter?.value ?? "next";
    if (!/^(next|back|send|step:.*)$/.test(pressed)) {
      // Whatever else a button asks for is the server's to do; the draft is kept meanwhile.
      return;
    }
    event.preventDefault();
    if (this.#sending.isBusy || this.#going) {
      return;
    }
    if (pressed === "back") {
      this.#faults.noSummary();
      this.#steps.back();
    } else if (pressed.startsWith("step:")) {
      this.#steps.show(pressed.slice("step:".length), { focus: true });
    } else if (pressed === "send") {
      this.#checkQuietly.cancel();
      this.#sending.send();
    } else {
      this.#goOn(event.submitter);
    }
  }

  /**
   * The Enter key in a field presses the button of the step in sight. By itself a browser would
   * press the first button of the form, which may belong to another step.
   */
  #entered(event) {
    const isField = event.target.matches('input:not([type="file"])');
    if (event.key !== "Enter" || !isField || event.isComposing) {
      return;
    }
    event.preventDefault();
    const wanted = 'button[name="do"][value="next"], button[name="do"][value="send"]';
    const button = [...this.#form.querySelectorAll(wanted)].find(
      (one) => !one.closest('[hidden], [aria-hidden="true"]'),
    );
    if (button) {
      this.#form.requestSubmit(button);
    }
  }

  /**
   * To the next step, unless the server names something to mend in the steps so far, or something
   * worth a second look in this one that was not seen yet.
   */
  async #goOn(button) {
    this.#going = true;
    this.#checkQuietly.cancel();
    button?.setAttribute("aria-busy", "true");
    const soFar = this.#steps.soFar;
    const { faults, flags } = await this.#ask(BETWEEN_STEPS);
    const here = (flags ?? []).filter((flag) => flag.step === this.#steps.shown);
    const odd = this.#faults.unseen(here);
    this.#going = false;
    button?.removeAttribute("aria-busy");
    this.#faults.finish(soFar);
    const mend = (faults ?? []).filter((fault) => soFar.includes(fault.step));
    if (faults) {
      this.#faults.atFields(faults, flags);
      this.#faults.list(flags);
      this.#steps.noteChecked();
      this.#sending.hush();
    } else if (!this.#sending.isWaiting) {
      this.#sending.say("Without signal nothing can be checked now. It will be before it is sent.");
    }
    if (mend.length) {
      this.#faults.summary(mend, { focus: true });
      return;
    }
    if (odd.length) {
      this.#faults.question(odd);
      return;
    }
    this.#faults.noSummary();
    const next = this.#steps.away(1);
    if (next) {
      this.#steps.show(next, { focus: true });
    }
  }
}

offerCopies();
dropWhatArrived();
const form = document.getElementById("sessions");
if (form instanceof HTMLFormElement) {
  new Page(form).begin();
}
