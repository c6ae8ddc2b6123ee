// Values and words: the page's data, and how quantities are shown.

const DATA = JSON.parse(document.getElementById("data").textContent);
const byId = (id) => document.getElementById(id);

/** Show an SI value as the report does: thousands by thin spaces, unit after a hard space. */
function shown(quantity, valueSi) {
  const [symbol, perSi, digits] = DATA.shown[quantity];
  return `${grouped(valueSi * perSi, digits)}\u00a0${symbol}`;
}

function shownArea(valueM2) {
  return shown(valueM2 >= 5000 ? "area" : "small area", valueM2);
}

function grouped(value, digits) {
  const [whole, part] = Math.abs(value).toFixed(digits).split(".");
  const sign = value < 0 && Number(Math.abs(value).toFixed(digits)) !== 0 ? "-" : "";
  const spaced = whole.replace(/\B(?=(\d{3})+$)/g, "\u202f");
  return sign + spaced + (part ? `.${part}` : "");
}

/** The largest of 1, 2, 5 times a power of ten that is not above a value. */
function niceBelow(value) {
  const power = 10 ** Math.floor(Math.log10(value));
  return [5, 2, 1].map((step) => step * power).find((step) => step <= value * (1 + 1e-9));
}

/** Make an element; children may be texts or elements. */
function make(tag, attributes = {}, ...children) {
  const element = document.createElement(tag);
  for (const [name, value] of Object.entries(attributes)) {
    if (name.startsWith("on")) element.addEventListener(name.slice(2), value);
    else if (value === true) element.setAttribute(name, "");
    else if (value !== false && value != null) element.setAttribute(name, value);
  }
  element.append(...children);
  return element;
}

const SVG = "http://www.w3.org/2000/svg";

function makeSvg(tag, attributes = {}, ...children) {
  const element = document.createElementNS(SVG, tag);
  for (const [name, value] of Object.entries(attributes)) element.setAttribute(name, value);
  element.append(...children);
  return element;
}

const isDark = () => {
  const chosen = document.documentElement.dataset.theme;
  return chosen ? chosen === "dark" : matchMedia("(prefers-color-scheme: dark)").matches;
};
const inkOf = ([light, dark]) => (isDark() ? dark : light);
const cssColour = (name) =>
  getComputedStyle(document.documentElement).getPropertyValue(`--${name}`).trim();
