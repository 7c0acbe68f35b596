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

const pen = document.createElement("canvas").getContext("2d");
const LETTERS = 'Helvetica, Arial, "Liberation Sans", sans-serif';

/** The width of a line of text in a chart. */
function widthOf(text, size, strong = false) {
  pen.font = `${strong ? "bold " : ""}${size}px ${LETTERS}`;
  return pen.measureText(text).width;
}

/** Text in lines of a width; words that are too long are broken, and what is too much is cut. */
function inLines(text, size, width, most) {
  const lines = [];
  let line = "";
  for (const word of pieces(text, size, width)) {
    const longer = line ? `${line} ${word}` : word;
    if (line && widthOf(longer, size) > width) {
      lines.push(line);
      line = word;
    } else line = longer;
    if (lines.length > most) break;
  }
  if (line) lines.push(line);
  if (lines.length <= most) return lines;
  return [...lines.slice(0, most - 1), `${lines[most - 1].slice(0, -1)}…`];
}

function* pieces(text, size, width) {
  for (const word of text.slice(0, 400).split(/\s+/).filter(Boolean)) {
    let rest = word;
    while (widthOf(rest, size) > width && rest.length > 1) {
      const part = broken(rest, size, width);
      yield part;
      rest = rest.slice(part.length);
    }
    yield rest;
  }
}

/** As much of a word as fits, up to an underscore if there is one. */
function broken(word, size, width) {
  let fits = 1;
  while (fits < word.length && widthOf(word.slice(0, fits + 1), size) <= width) fits += 1;
  const joint = word.lastIndexOf("_", fits - 1);
  return word.slice(0, joint > fits / 3 ? joint + 1 : fits);
}
