// What is to be mended and what is worth a second look: a sentence at the field, and lists with
// links at the top and before sending.

import { fullNameOf, markSteps } from "./page.js";
import { make } from "./words.js";

/** The control a fault is about, to be focused; a group answers with its first control. */
function controlOf(form, name) {
  const named = form.elements.namedItem(name);
  const one = named instanceof RadioNodeList ? named[0] : named;
  const inside = "input, select, textarea";
  return one?.matches?.(inside) ? one : document.querySelector(`#field-${CSS.escape(name)} ${inside}`);
}

/** Adds an id to, or takes it from, what describes a control. */
function describe(control, id, wanted) {
  const ids = (control.getAttribute("aria-describedby") ?? "").split(/\s+/).filter(Boolean);
  const others = ids.filter((other) => other !== id);
  const all = wanted ? [id, ...others] : others;
  if (all.length) {
    control.setAttribute("aria-describedby", all.join(" "));
  } else {
    control.removeAttribute("aria-describedby");
  }
}

/** The controls that carry the state of a field: each of its own name. */
function controlsOf(field, name) {
  const controls = [...field.querySelectorAll("input, select, textarea")];
  return controls.filter((control) => control.name === name);
}

/** What is described by a fault: the group of radio buttons, or the control itself. */
function describedOf(field, name) {
  const group = field.querySelector("fieldset");
  return group ? [group] : controlsOf(field, name);
}

/**
 * Shows faults or flags (`kind`) at their field, or takes away what stood there. Answers their
 * words when they did not stand there before.
 */
function tell(field, name, kind, told) {
  const id = `${kind}-${name}`;
  const words = told.map((one) => one.sentence).join(" ");
  const known = field.querySelector(`.${kind}`);
  const isNew = (known?.textContent.trim() ?? "") !== words;
  if (isNew) {
    known?.remove();
  }
  if (isNew && words) {
    const codes = told.map((one) => one.code).join(" ");
    const place = make("p", { class: kind, id, "data-code": codes }, words);
    // Before the control, so that it is read first and no keyboard on the screen covers it.
    const before = field.querySelector(".hint") ?? field.querySelector("legend");
    const control = controlsOf(field, name)[0];
    if (before) {
      before.after(place);
    } else if (control?.parentElement === field) {
      control.before(place);
    } else {
      field.prepend(place);
    }
  }
  if (words) {
    field.closest("details")?.setAttribute("open", "");
  }
  for (const element of describedOf(field, name)) {
    describe(element, id, words !== "");
  }
  return isNew ? words : "";
}

/** Says of a field, without words, whether something in it is to be mended. */
function mark(field, name, isAtFault) {
  field.classList.toggle("at-fault", isAtFault);
  for (const control of controlsOf(field, name)) {
    if (isAtFault) {
      control.setAttribute("aria-invalid", "true");
    } else {
      control.removeAttribute("aria-invalid");
    }
  }
}

/** What makes a flag the same one when it is told again. */
function keyOf(flag) {
  return `${flag.field} ${flag.sentence}`;
}

export class Faults {
  #form;
  #steps;
  // Steps whose faults are all shown, because their end was reached.
  #finished = new Set();
  // Fields that were left with an entry, whose faults are shown before their step is finished.
  #left = new Set();
  // Flags that were shown at their fields, and those that were listed before sending.
  #shown = new Set();
  #listed = new Set();

  constructor(form, steps) {
    this.#form = form;
    this.#steps = steps;
  }

  /** From now on a fault of this field is shown. */
  leave(name) {
    this.#left.add(name);
  }

  /** From now on every fault of these steps is shown. */
  finish(names) {
    for (const name of names) {
      this.#finished.add(name);
    }
  }

  #concerns(fault) {
    return this.#finished.has(fault.step) || this.#left.has(fault.field);
  }

  /**
   * Shows at the fields what is due to be shown, and takes away what was mended. Answers the words
   * that are new.
   */
  atFields(faults, flags) {
    const due = faults.filter((fault) => this.#concerns(fault));
    const odd = flags.filter((flag) => this.#concerns(flag));
    const fresh = [];
    for (const field of this.#form.querySelectorAll('[id^="field-"]')) {
      const name = field.id.slice("field-".length);
      const [faulty, flagged] = [due, odd].map((all) => all.filter((one) => one.field === name));
      fresh.push(tell(field, name, "flag", flagged), tell(field, name, "fault", faulty));
      mark(field, name, faulty.length !== 0);
    }
    for (const flag of odd) {
      this.#shown.add(keyOf(flag));
    }
    markSteps(new Set(due.map((fault) => fault.step)));
    return fresh.filter(Boolean).join(" ");
  }

  /** Flags that nobody has seen at their field yet. */
  unseen(flags) {
    return flags.filter((flag) => !this.#shown.has(keyOf(flag)));
  }

  /** Lists every flag before sending. Answers whether one stands there for the first time. */
  list(flags) {
    const place = document.getElementById("flags");
    if (!place) {
      return false;
    }
    const fresh = flags.filter((flag) => !this.#listed.has(keyOf(flag)));
    this.#listed = new Set(flags.map(keyOf));
    place.querySelector("ul").replaceChildren(...this.#lines(flags));
    place.hidden = flags.length === 0;
    return fresh.length !== 0;
  }

  /** The summary of faults at the top of the page, with links; `focus` moves the reader there. */
  summary(faults, { focus }) {
    const things = faults.length === 1 ? "1 thing" : `${faults.length} things`;
    this.#summarise([make("h2", {}, `${things} to mend`)], faults, focus);
  }

  /** The summary of flags, for whoever has not seen them at their fields. */
  question(flags) {
    const things = flags.length === 1 ? "1 thing" : `${flags.length} things`;
    const words = "Mend it, or press Next again if it is right.";
    const before = [make("h2", {}, `${things} to look at again`), make("p", {}, words)];
    this.#summarise(before, flags, true);
  }

  #lines(told) {
    return told.map((one) => make("li", {}, ...this.#line(one)));
  }

  #summarise(before, told, focus) {
    const place = this.#summaryPlace();
    const list = make("ul");
    list.append(...this.#lines(told));
    place.replaceChildren(...before, list);
    place.hidden = false;
    if (focus) {
      place.focus();
      place.scrollIntoView({ block: "start", behavior: "instant" });
    }
  }

  /** Takes the summary away. */
  noSummary() {
    document.getElementById("summary")?.remove();
  }

  #summaryPlace() {
    const known = document.getElementById("summary");
    if (known) {
      return known;
    }
    const place = make("div", { class: "summary", id: "summary", role: "alert", tabindex: "-1" });
    document.querySelector("main").prepend(place);
    return place;
  }

  /** A link to where a fault is to be mended, and how. */
  #line(fault) {
    const heading = this.#steps.headingOf(fault.step);
    const field = fault.field && document.getElementById(`field-${fault.field}`);
    const name = field ? fullNameOf(field) : heading?.textContent.trim();
    if (!name) {
      return [fault.sentence];
    }
    const target = field ? field.id : `step-${fault.step}`;
    const link = make("a", { href: `#${target}`, "data-code": fault.code }, name);
    link.addEventListener("click", (event) => {
      event.preventDefault();
      this.goTo(fault);
    });
    return [link, ` ${fault.sentence}`];
  }

  /** Shows the step of a fault and moves the reader to its field. */
  goTo(fault) {
    this.#steps.show(fault.step, { focus: !fault.field });
    const control = fault.field && controlOf(this.#form, fault.field);
    if (control) {
      control.closest("details")?.setAttribute("open", "");
      control.focus();
      document
        .getElementById(`field-${fault.field}`)
        ?.scrollIntoView({ block: "start", behavior: "instant" });
    }
  }
}
