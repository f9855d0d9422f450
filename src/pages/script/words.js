// Small pieces that the other modules share: elements, polite words, the name of the device.

/** An element with attributes and children; a child is an element or a text. */
export function make(tag, attributes = {}, ...children) {
  const element = document.createElement(tag);
  for (const [name, value] of Object.entries(attributes)) {
    element.setAttribute(name, value);
  }
  element.append(...children);
  return element;
}

/** A button that sends nothing. */
export function button(words, pressed) {
  const element = make("button", { type: "button", class: "plain" }, words);
  element.addEventListener("click", pressed);
  return element;
}

/** What the reader holds, as far as a page can tell. */
export function thisDevice() {
  const small = Math.min(screen.width, screen.height) < 600;
  return small && matchMedia("(pointer: coarse)").matches ? "this phone" : "this device";
}

/** Says something to readers who hear the page, without moving them. */
export function announce(words) {
  const id = "spoken";
  let place = document.getElementById(id);
  if (!place) {
    place = make("p", { id, class: "quiet", role: "status" });
    document.querySelector("main").append(place);
  }
  // The same words twice are only heard twice when the place was empty in between.
  place.textContent = "";
  setTimeout(() => {
    place.textContent = words;
  }, 50);
}

/** Calls `action` once, `delay` milliseconds after the last of many calls; `cancel` calls it off. */
export function settled(action, delay) {
  let timer = null;
  const call = () => {
    clearTimeout(timer);
    timer = setTimeout(action, delay);
  };
  call.cancel = () => clearTimeout(timer);
  return call;
}
