// What stands in the form: taking it out, putting it back, and carrying it to the next session.

// The receipt is a secret and belongs in no storage. The others are the page's own business.
const NEVER_KEPT = new Set([
  "receipt",
  "leave_empty",
  "token",
  "do",
  "step",
  "reached",
  "checked",
  "correcting",
]);

/** Whether a control holds something a person entered and a draft may keep. */
function isEntry(control) {
  return (
    control.name &&
    !NEVER_KEPT.has(control.name) &&
    !["hidden", "password", "file", "submit", "button", "reset", "fieldset"].includes(control.type) &&
    control.localName !== "output"
  );
}

function isTick(control) {
  return control.type === "radio" || control.type === "checkbox";
}

/** Every entry as pairs of name and value, in the order of the form. */
export function entriesOf(form) {
  return [...form.elements]
    .filter((control) => isEntry(control) && (!isTick(control) || control.checked))
    .map((control) => [control.name, control.value]);
}

/**
 * What the page itself says in hidden fields, for example which wording of the consent it shows.
 * A draft made under other words must not carry a consent over to these.
 */
export function shownBy(form) {
  return [...form.elements]
    .filter((control) => control.type === "hidden" && !NEVER_KEPT.has(control.name))
    .map((control) => `${control.name}=${control.value}`)
    .join("\n");
}

/** Whether the control is part of the consent. */
export function isConsent(control) {
  return /^(consent|adult)/.test(control.name);
}

/** Puts kept entries back. `without` says which controls are left as the page has them. */
export function putBack(form, entries, without = () => false) {
  const kept = new Map();
  for (const [name, value] of entries) {
    kept.set(name, [...(kept.get(name) ?? []), value]);
  }
  for (const control of form.elements) {
    if (!isEntry(control) || without(control)) {
      continue;
    }
    const values = kept.get(control.name);
    if (isTick(control)) {
      control.checked = values?.includes(control.value) ?? false;
    } else if (values) {
      control.value = values[0];
    }
  }
}

/**
 * Whether the page itself came with an entry that the draft has otherwise, as a page that corrects
 * something does, or one that was opened from a plan.
 */
export function contradicts(form, entries) {
  const kept = new Set(entries.map(([name, value]) => `${name}=${value}`));
  return [...form.elements].filter(isEntry).some((control) => {
    const given = isTick(control)
      ? control.defaultChecked
      : control.localName === "select"
        ? control.value !== "" && control.selectedOptions[0]?.defaultSelected
        : control.defaultValue !== "";
    return given && !kept.has(`${control.name}=${control.value}`);
  });
}

/**
 * Fills the fields of a session step that are blank from those they are usually the same as.
 * Answers whether it filled any.
 */
export function carryOver(form, step) {
  const sources = new Map();
  for (const place of step.querySelectorAll("[data-same-as]")) {
    const control = place.matches("input, select, textarea")
      ? place
      : place.querySelector("input, select, textarea");
    sources.set(control.name, place.dataset.sameAs);
  }
  let filled = false;
  for (const [name, source] of sources) {
    // One control, or all of one name, take and give their value the same way.
    const own = form.elements.namedItem(name);
    const value = form.elements.namedItem(source)?.value ?? "";
    if (own.value === "" && value !== "") {
      own.value = value;
      filled = true;
    }
  }
  return filled;
}
