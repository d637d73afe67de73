// Small helpers to make elements. Nothing here sets a style attribute: the page's policy forbids it.

const SVG = "http://www.w3.org/2000/svg";

/** Make an HTML element; `on…` attributes are listeners, null and false leave an attribute out. */
export function el(tag, attributes = {}, ...children) {
  return filled(document.createElement(tag), attributes, children);
}

/** Make an SVG element. */
export function svg(tag, attributes = {}, ...children) {
  return filled(document.createElementNS(SVG, tag), attributes, children);
}

/** Set attributes; null and false remove one. */
export function set(element, attributes) {
  for (const [name, value] of Object.entries(attributes)) {
    if (value === null || value === false || value === undefined) element.removeAttribute(name);
    else if (element.getAttribute(name) !== String(value)) element.setAttribute(name, value === true ? "" : value);
  }
}

/** Set text only when it differs, so that screen readers hear changes and nothing else. */
export function write(element, text) {
  if (element.textContent !== text) element.textContent = text;
}

/** Show or hide. */
export function show(element, shown) {
  if (element.hidden === shown) element.hidden = !shown;
}

function filled(element, attributes, children) {
  for (const [name, value] of Object.entries(attributes)) {
    if (name.startsWith("on")) element.addEventListener(name.slice(2), value);
    else set(element, { [name]: value });
  }
  element.append(...children.flat().filter((each) => each !== null && each !== undefined));
  return element;
}
