// What a page owes its reader besides what the accessibility engine looks for. The body of a
// function: it answers one sentence for each fault. `arguments[0]` is the width that the device
// has, in pixels.
const deviceWidth = arguments[0];
const leastTarget = 44;
const slack = 0.6;
const faults = [];
const name = (element) => {
  const id = element.id ? `#${element.id}` : '';
  const field = element.getAttribute('name') ? `[name="${element.getAttribute('name')}"]` : '';
  const words = element.textContent.trim().replace(/\s+/g, ' ').slice(0, 40);
  return `<${element.localName}${id}${field}> “${words}”`;
};
const isShown = (element) =>
  element.checkVisibility({ visibilityProperty: true, contentVisibilityAuto: true }) &&
  element.getClientRects().length > 0;
const all = (css) => [...document.querySelectorAll(css)].filter(isShown);

const width = document.documentElement.scrollWidth;
if (deviceWidth < width) {
  const wide = all('body *').filter((element) => deviceWidth < element.getBoundingClientRect().right);
  faults.push(`scrolls sideways: ${width} px wide; ${wide.slice(0, 3).map(name).join(', ')}`);
}

const headings = document.querySelectorAll('h1').length;
if (headings !== 1) faults.push(`${headings} h1`);

for (const field of all('input:not([type=hidden]), select, textarea')) {
  const named = field.labels?.length || field.getAttribute('aria-label') || field.getAttribute('aria-labelledby');
  if (!named) faults.push(`no label: ${name(field)}`);
}
for (const element of document.querySelectorAll('[aria-describedby], [aria-labelledby], [aria-errormessage], [aria-controls]')) {
  for (const attribute of ['aria-describedby', 'aria-labelledby', 'aria-errormessage', 'aria-controls']) {
    for (const id of (element.getAttribute(attribute) ?? '').split(/\s+/).filter(Boolean)) {
      if (!document.getElementById(id)) faults.push(`${attribute} names #${id}, which is not there: ${name(element)}`);
    }
  }
}
for (const link of document.querySelectorAll('a[href^="#"]')) {
  const id = decodeURIComponent(link.getAttribute('href').slice(1));
  if (id && !document.getElementById(id)) faults.push(`leads to #${id}, which is not there: ${name(link)}`);
}
const ids = [...document.querySelectorAll('[id]')].map((element) => element.id);
for (const id of new Set(ids.filter((id, place) => ids.indexOf(id) !== place))) {
  faults.push(`two elements are called #${id}`);
}

// A link within a sentence is as large as its words (WCAG 2.2, 2.5.8, the exception "inline").
const isWithinText = (link) => {
  if (getComputedStyle(link).display !== 'inline') return false;
  const block = link.closest('p, li, dd, dt, td, th, figcaption, caption, label, legend, summary');
  return Boolean(block) && link.textContent.trim().length < block.textContent.trim().length;
};
// The label of a box belongs to its target.
const target = (element) => {
  let { left, top, right, bottom } = element.getBoundingClientRect();
  if (element.matches('input[type=checkbox], input[type=radio], input[type=file]')) {
    for (const label of element.labels) {
      const box = label.getBoundingClientRect();
      left = Math.min(left, box.left);
      top = Math.min(top, box.top);
      right = Math.max(right, box.right);
      bottom = Math.max(bottom, box.bottom);
    }
  }
  return { width: right - left, height: bottom - top };
};
for (const element of all('button, input:not([type=hidden]), select, textarea, summary, a[href]')) {
  if (element.localName === 'a' && isWithinText(element)) continue;
  if (element.matches('.skip, [aria-hidden=true]')) continue;
  const { width, height } = target(element);
  if (width + slack < leastTarget || height + slack < leastTarget) {
    faults.push(`a target of ${width.toFixed(0)} × ${height.toFixed(0)} px: ${name(element)}`);
  }
}

// Text that its own box cuts off. What scrolls on its own has to be reachable by keyboard.
for (const element of all('body *')) {
  if (element.closest('svg') || element.matches('.skip, .skip *')) continue;
  const { overflowX, overflowY, position } = getComputedStyle(element);
  const hasText = [...element.childNodes].some((node) => node.nodeType === Node.TEXT_NODE && node.data.trim());
  const wider = element.clientWidth + 1 < element.scrollWidth;
  const isQuiet = position === 'absolute' && element.clientWidth <= 1;
  if (!wider || element.clientWidth === 0 || isQuiet) continue;
  if (['auto', 'scroll'].includes(overflowX)) {
    if (element.tabIndex < 0) faults.push(`scrolls, but not by keyboard: ${name(element)}`);
  } else if (hasText || overflowX !== 'visible' || overflowY !== 'visible') {
    faults.push(`cut off: ${name(element)} is ${element.clientWidth} px wide, its content ${element.scrollWidth}`);
  }
}

for (const { name: address } of performance.getEntriesByType('resource')) {
  if (!address.startsWith(location.origin)) faults.push(`loads from elsewhere: ${address}`);
}
return faults;
