// Faults in the page: a sentence at the field, and a summary with links at the top.

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

function clear(field, name) {
  field.querySelector(".fault")?.remove();
  field.classList.remove("at-fault");
  for (const control of controlsOf(field, name)) {
    control.removeAttribute("aria-invalid");
  }
  for (const element of describedOf(field, name)) {
    describe(element, `fault-${name}`, false);
  }
}

/** Shows faults at their field. Answers their words when they did not stand there before. */
function mark(field, name, faults) {
  const id = `fault-${name}`;
  const words = faults.map((fault) => fault.sentence).join(" ");
  const codes = faults.map((fault) => fault.code).join(" ");
  const isNew = field.querySelector(".fault")?.textContent.trim() !== words;
  if (isNew) {
    clear(field, name);
    const place = make("p", { class: "fault", id, "data-code": codes }, words);
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
  field.classList.add("at-fault");
  field.closest("details")?.setAttribute("open", "");
  for (const control of controlsOf(field, name)) {
    control.setAttribute("aria-invalid", "true");
  }
  for (const element of describedOf(field, name)) {
    describe(element, id, true);
  }
  return isNew ? words : "";
}

export class Faults {
  #form;
  #steps;
  // Steps whose faults are all shown, because their end was reached.
  #finished = new Set();
  // Fields that were left with an entry, whose faults are shown before their step is finished.
  #left = new Set();

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
  atFields(faults) {
    const due = faults.filter((fault) => this.#concerns(fault));
    const fresh = [];
    for (const field of this.#form.querySelectorAll('[id^="field-"]')) {
      const name = field.id.slice("field-".length);
      const own = due.filter((fault) => fault.field === name);
      if (own.length) {
        fresh.push(mark(field, name, own));
      } else {
        clear(field, name);
      }
    }
    markSteps(new Set(due.map((fault) => fault.step)));
    return fresh.filter(Boolean).join(" ");
  }

  /** The summary of faults at the top of the page, with links; `focus` moves the reader there. */
  summary(faults, { focus }) {
    const place = this.#summaryPlace();
    const heading = faults.length === 1 ? "1 thing to mend" : `${faults.length} things to mend`;
    const list = make("ul");
    list.append(...faults.map((fault) => make("li", {}, ...this.#line(fault))));
    place.replaceChildren(make("h2", {}, heading), list);
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
