// Holds the way the focus went against the order of the document. Answers one sentence for each
// fault.
const faults = [];
const name = (element) =>
  `<${element.localName}${element.id ? `#${element.id}` : ''}> “${element.textContent.trim().replace(/\s+/g, ' ').slice(0, 40)}”`;
const targets = window.focusSeen.map((seen) => seen.target);
const firstTime = targets.filter((target, place) => targets.indexOf(target) === place);
for (const { target, visible } of window.focusSeen) {
  if (!visible) faults.push(`focus cannot be seen: ${name(target)}`);
}
for (const wanted of window.focusWanted) {
  if (!targets.includes(wanted)) faults.push(`Tab does not reach ${name(wanted)}`);
}
firstTime.slice(1).forEach((target, place) => {
  const before = firstTime[place];
  if (!(before.compareDocumentPosition(target) & Node.DOCUMENT_POSITION_FOLLOWING)) {
    faults.push(`Tab goes from ${name(before)} back to ${name(target)}`);
  }
});
// What has the focus may cover what lies below it.
document.activeElement?.blur();
return [...new Set(faults)];
