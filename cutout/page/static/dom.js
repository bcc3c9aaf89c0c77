// Small helpers to build elements without any HTML text.

const SVG = "http://www.w3.org/2000/svg";

/**
 * An element of the page by its id. Typed loosely: what kind it is stands in index.html, and a test looks up every id.
 * @param {string} id
 * @returns {any}
 */
export const byId = (id) => document.getElementById(id);

/**
 * The first element that fits, or null.
 * @param {string} selector
 * @returns {any}
 */
export const one = (selector) => document.querySelector(selector);

/**
 * Every element that fits.
 * @param {string} selector
 * @returns {any[]}
 */
export const all = (selector) => [...document.querySelectorAll(selector)];

/**
 * What has the focus.
 * @returns {any}
 */
export const focused = () => document.activeElement;

/**
 * An element with attributes, listeners (on...) and children; `false` and null attributes are left out.
 * @param {string} tag
 * @param {Record<string, any>} attributes
 * @param {...any} children
 * @returns {any}
 */
export function el(tag, attributes = {}, ...children) {
  return fill(document.createElement(tag), attributes, children);
}

export function svg(tag, attributes = {}, ...children) {
  return fill(document.createElementNS(SVG, tag), attributes, children);
}

function fill(element, attributes, children) {
  for (const [name, value] of Object.entries(attributes)) {
    if (name.startsWith("on")) element.addEventListener(name.slice(2), value);
    else if (value !== false && value !== null && value !== undefined) {
      element.setAttribute(name, value === true ? "" : String(value));
    }
  }
  element.append(...children.filter((child) => child !== null && child !== undefined));
  return element;
}

/** Replace the children of a list, and give the focus back to the entry that had it (by data-key). */
export function refill(parent, children) {
  const key = parent.contains(document.activeElement) ? focused().dataset.key : undefined;
  parent.replaceChildren(...children);
  if (key !== undefined) {
    /** @type {any[]} */
    const keyed = [...parent.querySelectorAll("[data-key]")];
    const again = keyed.find((child) => child.dataset.key === key);
    (again ?? parent.querySelector("button, input") ?? parent.closest("section"))?.focus();
  }
}

/** Calls `action` once nothing has called it for `ms` milliseconds. */
export function settled(action, ms) {
  let timer = 0;
  return (...given) => {
    clearTimeout(timer);
    timer = setTimeout(action, ms, ...given);
  };
}
