// One step of the form at a time, without the network. The phone's back button goes a step back.

import { armsOf, followStep } from "./page.js";

export class Steps {
  #form;
  #shown;
  #whenShown;

  /** `whenShown` is called with the section of every step that is shown from now on. */
  constructor(form, whenShown) {
    this.#form = form;
    this.#whenShown = whenShown;
    const sections = this.#sections();
    this.#shown = (sections.find((section) => !section.hidden) ?? sections[0]).dataset.step;
    addEventListener("popstate", (event) => {
      const name = event.state?.step ?? location.hash.replace(/^#step-/, "");
      if (name !== this.#shown && this.names.includes(name)) {
        this.#turn(name, true);
      }
    });
  }

  #sections() {
    return [...this.#form.querySelectorAll("[data-step]")].filter((element) =>
      element.matches(".step"),
    );
  }

  /** The names of the steps that are to be filled in, in order. */
  get names() {
    // Two sessions until an order says otherwise.
    const most = armsOf(this.#form).length || 2;
    return this.#sections()
      .filter((section) => Number(section.dataset.session ?? 0) <= most)
      .map((section) => section.dataset.step);
  }

  /** The name of the step in sight. */
  get shown() {
    return this.#shown;
  }

  /** The section of the step in sight. */
  get section() {
    return document.getElementById(`step-${this.#shown}`);
  }

  /** The names up to and including the step in sight. */
  get soFar() {
    return this.names.slice(0, this.names.indexOf(this.#shown) + 1);
  }

  /** The heading of a step; null when there is no such step. */
  headingOf(name) {
    return name ? document.querySelector(`#step-${CSS.escape(name)} h2`) : null;
  }

  /** The step so many places away; undefined beyond both ends. */
  away(places) {
    return this.names[this.names.indexOf(this.#shown) + places];
  }

  /** Notes in the history which step the page came with, or was restored to. */
  begin(name) {
    if (this.names.includes(name) && name !== this.#shown) {
      this.#turn(name, false);
    }
    // The address stays as it is: a browser that finds a new fragment in it while the page loads
    // takes the focus away from the summary of an answer.
    history.replaceState(this.#state(), "");
    followStep(this.#form, this);
    this.#whenShown(this.section);
  }

  /** Goes to a step. `focus` is false when the reader is to be moved to one of its fields. */
  show(name, { focus }) {
    if (!this.names.includes(name)) {
      return;
    }
    const from = this.#shown;
    this.#turn(name, focus);
    if (name !== from) {
      history.pushState({ ...this.#state(), from }, "", `#step-${name}`);
    }
  }

  /** Goes a step back, as the phone's back button does, so that both agree on where "back" is. */
  back() {
    const previous = this.away(-1);
    if (previous && history.state?.from === previous) {
      history.back();
    } else if (previous) {
      this.show(previous, { focus: true });
    }
  }

  /** What the browser remembers of this place, so that coming back finds the same form. */
  #state() {
    return { step: this.#shown, token: this.#form.elements.namedItem("token").value };
  }

  /** Notes for the server that the steps up to the one in sight were checked. */
  noteChecked() {
    const checked = this.#form.elements.namedItem("checked")?.value;
    if (this.names.indexOf(checked) < this.names.indexOf(this.#shown)) {
      this.#note("checked", this.#shown);
    }
  }

  #note(name, value) {
    const field = this.#form.elements.namedItem(name);
    if (field) {
      field.value = value;
    }
  }

  #turn(name, focus) {
    this.#shown = name;
    for (const section of this.#sections()) {
      section.hidden = section.dataset.step !== name;
    }
    this.#note("step", name);
    // The server's own notes on how far the form has come, for a page that it renders.
    const reached = this.#form.elements.namedItem("reached")?.value;
    if (this.names.indexOf(reached) < this.names.indexOf(name)) {
      this.#note("reached", name);
    }
    followStep(this.#form, this);
    document.title = `${this.headingOf(name).textContent.trim()} · Send sessions`;
    if (focus) {
      this.headingOf(name).focus({ preventScroll: true });
      this.section.scrollIntoView({ block: "start", behavior: "instant" });
    }
    this.#whenShown(this.section);
  }
}
