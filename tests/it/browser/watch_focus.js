// Notes where the focus goes from now on, beginning at the top, and whether one can see it there.
// Tab starts from what had the focus last, even when it is gone.
const start = document.createElement('span');
start.tabIndex = -1;
document.body.prepend(start);
start.focus({ preventScroll: true });
start.remove();
window.focusSeen = [];
document.addEventListener('focusin', ({ target }) => {
  const { outlineStyle, outlineWidth, boxShadow } = getComputedStyle(target);
  const outlined = outlineStyle !== 'none' && 2 <= parseFloat(outlineWidth);
  window.focusSeen.push({ target, visible: outlined || boxShadow !== 'none' });
});
const focusable = 'a[href], button, input:not([type=hidden]), select, textarea, summary, [tabindex="0"]';
window.focusWanted = [...document.querySelectorAll(focusable)].filter((element) => {
  if (element.disabled || !element.checkVisibility({ visibilityProperty: true }) || element.tabIndex < 0) return false;
  if (element.type !== 'radio') return true;
  // Tab stops once at a group of choices: at the one that is chosen, or else at the first.
  const group = [...document.getElementsByName(element.name)].filter((other) => other.form === element.form);
  return element === (group.find((other) => other.checked) ?? group[0]);
});
return window.focusWanted.length;
