// Figures beside what is typed: the other unit, and a count for a percentage or the reverse.
//
// They are a help while typing and are never sent; the server computes its own.

// Both are exact by definition (international yard and pound agreement, 1959).
const KILOGRAMS_PER_POUND = 0.45359237;
const KILOMETRES_PER_MILE = 1.609344;

const OTHER_UNIT = {
  lb: { unit: "kg", factor: KILOGRAMS_PER_POUND },
  kg: { unit: "lb", factor: 1 / KILOGRAMS_PER_POUND },
  "km/h": { unit: "mph", factor: 1 / KILOMETRES_PER_MILE },
  mph: { unit: "km/h", factor: KILOMETRES_PER_MILE },
};

// A point or a comma, and at most two decimals, as the server reads a number.
// A percent sign may follow.
const NUMBER = /^([-\u2212]?\d{1,7}(?:[.,]\d{1,2})?)\s*%?$/;

/** The number that was typed, or null; with a percent sign only where that is asked for. */
export function numberOf(text, isPercent = false) {
  if (text.includes("%") && !isPercent) {
    return null;
  }
  const digits = NUMBER.exec(text.trim())?.[1];
  return digits ? Number(digits.replace("\u2212", "-").replace(",", ".")) : null;
}

/** A number as the pages show it: a true minus sign, none before a zero, and a tie to even. */
export function fixed(value, decimals) {
  const scaled = Math.abs(value) * 10 ** decimals;
  const tie = scaled % 1 === 0.5;
  const whole = tie ? 2 * Math.round(scaled / 2) : null;
  const digits = (tie ? whole / 10 ** decimals : Math.abs(value)).toFixed(decimals);
  return value < 0 && /[1-9]/.test(digits) ? `\u2212${digits}` : digits;
}

/** A share between 0 and 1 as a percentage; rounding never makes it none or all. */
export function percent(share) {
  const shown = fixed(share * 100, 1);
  if (0 < share && shown === "0.0") {
    return "under 0.1\u00a0%";
  }
  if (share < 1 && shown === "100.0") {
    return "over 99.9\u00a0%";
  }
  return `${shown}\u00a0%`;
}

/** The nearest whole count to a percentage of `n`, a tie to the lower, in whole numbers only. */
export function countOfPercent(percentage, n) {
  const tenThousandths = Math.round(percentage * 100) * n;
  const lower = Math.floor(tenThousandths / 10_000);
  return tenThousandths - lower * 10_000 <= 5_000 ? lower : lower + 1;
}

/** What one field of the form holds now; "" when there is no such field. */
export function valueOf(form, name) {
  return form.elements.namedItem(name ?? "")?.value ?? "";
}

/**
 * The field a share is taken of. Deep shots are a share of the shots in, save where a device gives
 * their percentage of all shots hit and the form says so.
 */
function baseOf(form, control) {
  const { shareOf, shareOfPercent, givenAs } = control.dataset;
  const asPercent = valueOf(form, givenAs) === "percent";
  if (asPercent && shareOfPercent) {
    return shareOfPercent;
  }
  const landed = control.name.replace(/_deep$/, "_in");
  const ofAllHit = asPercent && valueOf(form, "deep_percent_of") !== "in";
  return landed === control.name || ofAllHit ? shareOf : landed;
}

/** The whole count behind a field, which may itself be a share of another; null when unknown. */
function countBehind(form, name) {
  const control = form.elements.namedItem(name);
  const isPercent = valueOf(form, control?.dataset.givenAs) === "percent";
  const value = numberOf(control?.value ?? "", isPercent);
  if (value === null || value < 0) {
    return null;
  }
  if (control.dataset.shareOf && valueOf(form, control.dataset.givenAs) === "percent") {
    const base = countBehind(form, baseOf(form, control));
    return base === null || 100 < value ? null : countOfPercent(value, base);
  }
  return Number.isInteger(value) ? value : null;
}

function shareWords(form, control) {
  const value = numberOf(control.value, valueOf(form, control.dataset.givenAs) === "percent");
  const base = countBehind(form, baseOf(form, control));
  if (value === null || value < 0 || base === null || base === 0) {
    return "";
  }
  if (valueOf(form, control.dataset.givenAs) === "percent") {
    return value <= 100 ? `about ${countOfPercent(value, base)} of ${base}` : "";
  }
  const ofWhat = control.name.endsWith("_deep") ? " of those in" : "";
  return Number.isInteger(value) && value <= base ? `= ${percent(value / base)}${ofWhat}` : "";
}

function unitWords(form, control) {
  const value = numberOf(control.value);
  const other = OTHER_UNIT[valueOf(form, control.dataset.unitField)];
  return value === null || !other ? "" : `= ${fixed(value * other.factor, 1)}\u00a0${other.unit}`;
}

/** Brings every figure of the form up to date. Few enough that all are done at any change. */
export function showFigures(form) {
  for (const control of form.querySelectorAll("[data-quantity], [data-share-of]")) {
    const place = document.getElementById(`also-${control.name}`);
    if (place) {
      const words = control.dataset.quantity ? unitWords : shareWords;
      const text = words(form, control);
      // Unchanged words are left alone, so that they are not read out again.
      if (place.textContent !== text) {
        place.textContent = text;
      }
    }
  }
}
