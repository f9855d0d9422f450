// What on the page follows from the entries and from the step in sight, as the server would render
// it: units, titles of sessions and of kinds of shots, buttons, the list of steps, the last look.

import { make } from "./words.js";

const UNNAMED = "Shots that are not named yet";

function setText(element, words) {
  // Unchanged words are left alone, so that nothing is read out again.
  if (element && element.textContent !== words) {
    element.textContent = words;
  }
}

function valueOf(form, name) {
  return form.elements.namedItem(name)?.value ?? "";
}

/** The string beds in the order of play; nothing as long as no order is chosen. */
export function armsOf(form) {
  const order = valueOf(form, "order");
  if (order === "unknown") {
    // Somebody who does not know the order tells of the looser bed first.
    return ["looser", "tighter"];
  }
  return order === "" ? [] : order.split("_");
}

/** What a field is called, without its unit. */
function nameOf(field) {
  const label = field.querySelector("legend, label")?.cloneNode(true);
  label?.querySelectorAll(".unit").forEach((unit) => unit.remove());
  return label?.textContent.trim() ?? "";
}

/** What a field is called where it stands alone: with its session and its group. */
export function fullNameOf(field) {
  const section = field.closest("[data-step]");
  const session = section?.dataset.session ? shortTitle(section) : "";
  const group = field.parentElement.closest("fieldset")?.querySelector("legend")?.textContent.trim();
  const before = [session, group].filter(Boolean).join(", ");
  return before ? `${before}: ${nameOf(field)}` : nameOf(field);
}

/** A step as the list of steps calls it. */
function shortTitle(section) {
  const { step, session } = section.dataset;
  const listed = document.querySelector(`[data-for="${step}"] button`)?.firstChild?.textContent;
  return listed?.trim() ?? `Session ${session}`;
}

function showUnits(form) {
  for (const place of form.querySelectorAll(".unit[data-unit-of]")) {
    const unit = valueOf(form, place.dataset.unitOf);
    // Shares are counts or percent, and a count has no unit.
    setText(place, unit === "percent" ? "%" : unit === "count" ? "" : unit);
  }
}

function showArms(form) {
  const arms = armsOf(form);
  for (const section of form.querySelectorAll(".step[data-session]")) {
    const arm = arms[Number(section.dataset.session) - 1];
    setText(section.querySelector("h2"), shortTitle(section) + (arm ? `: ${arm}` : ""));
  }
}

/** A kind of shot in the words of the pages; nothing until both of its parts are chosen. */
function className(stroke, direction) {
  if (stroke === "" || direction === "") {
    return UNNAMED;
  }
  const who = stroke === "all" ? "All strokes" : stroke[0].toUpperCase() + stroke.slice(1);
  if (direction === "all") {
    return who;
  }
  return `${who}, ${direction === "middle" ? "through the middle" : direction.replaceAll("_", " ")}`;
}

/** Shows in each session the kinds of shots that were chosen, or that hold something already. */
function showClasses(form) {
  for (const group of form.querySelectorAll("[data-class]")) {
    const number = group.dataset.class;
    // The study's own kinds cannot be chosen, so they have no such field and always stand there.
    if (form.elements.namedItem(`c${number}_stroke`)) {
      const stroke = valueOf(form, `c${number}_stroke`);
      const direction = valueOf(form, `c${number}_direction`);
      const filled = [...group.querySelectorAll("input")].some((input) => input.value !== "");
      group.hidden = stroke === "" && direction === "" && !filled;
      setText(group.querySelector("legend"), className(stroke, direction));
    }
  }
}

/** To be called at every change of an entry. */
export function followEntries(form) {
  showUnits(form);
  showArms(form);
  showClasses(form);
}

/** To be called when another step came into sight, or when the order of play changed. */
export function followStep(form, steps) {
  const { names, shown } = steps;
  const at = names.indexOf(shown);
  const progress = document.getElementById("progress");
  setText(progress, `Step ${at + 1} of ${names.length}`);
  for (const [id, isHidden] of [
    ["go-back", at === 0],
    ["go-next", at === names.length - 1],
    ["go-send", at !== names.length - 1],
  ]) {
    const button = document.getElementById(id);
    if (button) {
      button.hidden = isHidden;
    }
  }
  for (const item of document.querySelectorAll("[data-for]")) {
    item.hidden = !names.includes(item.dataset.for);
    const button = item.querySelector("button");
    if (item.dataset.for === shown) {
      button.setAttribute("aria-current", "step");
    } else {
      button.removeAttribute("aria-current");
    }
  }
}

/** Says in the list of steps which of them have something to mend. */
export function markSteps(faulty) {
  for (const item of document.querySelectorAll("[data-for]")) {
    const mark = item.querySelector("button span");
    if (!faulty.has(item.dataset.for)) {
      mark?.remove();
    } else if (!mark) {
      item.querySelector("button").append(" ", make("span", {}, "(to mend)"));
    }
  }
}

/** What was entered into a field, in words; nothing when it was left blank. */
function entered(form, field) {
  const control = field.querySelector("input, select, textarea");
  if (!control?.name || control.type === "hidden") {
    return "";
  }
  if (control.type === "radio") {
    const chosen = field.querySelector("input:checked");
    return chosen ? chosen.closest("label").textContent.trim() : "";
  }
  if (control.localName === "select") {
    return control.value === "" ? "" : control.selectedOptions[0].textContent.trim();
  }
  const unit = field.querySelector(".unit")?.textContent ?? "";
  const typed = control.value.trim();
  return typed && unit ? `${typed.replace(/[%\s]+$/, "")} ${unit}` : typed;
}

function linesOf(form, section) {
  const lines = [];
  for (const field of section.querySelectorAll(".field")) {
    if (!field.closest("[data-class], [id^='class-choice-']")) {
      lines.push([nameOf(field), entered(form, field)]);
    }
  }
  for (const group of section.querySelectorAll("[data-class]")) {
    const parts = [...group.querySelectorAll(".field")]
      .map((field) => [nameOf(field).toLowerCase(), entered(form, field)])
      .filter(([, text]) => text !== "");
    lines.push([
      group.querySelector("legend").textContent.trim(),
      parts.map(([name, text]) => `${name} ${text}`).join(", "),
    ]);
  }
  return lines.filter(([, text]) => text !== "");
}

/** Brings the list of what will be sent up to date. */
export function showDigest(form, steps) {
  const place = document.getElementById("digest");
  if (!place) {
    return;
  }
  const parts = [];
  for (const name of steps.names) {
    const section = document.getElementById(`step-${name}`);
    const lines = section.contains(place) ? [] : linesOf(form, section);
    if (lines.length) {
      const title = section.querySelector("h2").textContent.trim();
      const change = make(
        "button",
        { type: "submit", class: "plain", name: "do", value: `step:${name}` },
        "Change",
        make("span", { class: "quiet" }, `: ${title}`),
      );
      const list = make("dl", { class: "digest" });
      for (const [label, text] of lines) {
        list.append(make("div", {}, make("dt", {}, label), make("dd", {}, text)));
      }
      parts.push(make("h4", {}, `${title} `, change), list);
    }
  }
  place.replaceChildren(...parts);
}
