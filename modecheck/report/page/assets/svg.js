// Elements with their attributes and children; text is always text.

const SVG = "http://www.w3.org/2000/svg";

/** An element of HTML. `attributes` may hold listeners, as in `{onclick: f}`. */
function html(name, attributes = {}, ...children) {
  return filled(document.createElement(name), attributes, children);
}

/** An element of SVG. */
function svg(name, attributes = {}, ...children) {
  return filled(document.createElementNS(SVG, name), attributes, children);
}

function filled(element, attributes, children) {
  for (const [key, value] of Object.entries(attributes)) {
    if (typeof value === "function") element.addEventListener(key.slice(2), value);
    else if (value !== false && value !== null) element.setAttribute(key, value === true ? "" : value);
  }
  element.append(...children.filter((child) => child !== null && child !== undefined));
  return element;
}

/** A name or sentence of the model, whose direction of writing stays its own. */
function own(text, most = 1200) {
  return html("bdi", {}, brief(text, most));
}

function brief(text, most) {
  return text.length > most ? `${text.slice(0, most - 1)}…` : text;
}
