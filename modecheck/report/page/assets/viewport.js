// Charts that can be moved and zoomed: by the pointer, by buttons, and by keys while they have the
// focus. The browser's own scrolling moves them.

const STEP_OF_ZOOM = 1.25;
const LEAST_READABLE = 0.75;
const SMALLEST = 0.2;
const LARGEST = 4;

/** Makes a viewport of an element with one SVG picture in it. */
function makeViewport(port) {
  const bar = html("div", { class: "zoom", role: "group", "aria-label": `Zoom: ${port.getAttribute("aria-label")}` },
    html("button", { type: "button", "aria-label": "Smaller", onclick: () => zoomBy(port, 1 / STEP_OF_ZOOM) }, "−"),
    html("button", { type: "button", "aria-label": "Larger", onclick: () => zoomBy(port, STEP_OF_ZOOM) }, "+"),
    html("button", { type: "button", "aria-label": "Fit the width", onclick: () => fit(port) }, "fit"));
  port.before(bar);
  port.addEventListener("keydown", (event) => zoomByKey(port, event));
  port.addEventListener("wheel", (event) => zoomByWheel(port, event), { passive: false });
  port.addEventListener("pointerdown", (event) => drag(port, event));
}

/** Shows a picture as large as it is, or smaller where the viewport is narrow. */
function fit(port) {
  const picture = port.querySelector("svg");
  if (!picture || !port.clientWidth) return;
  const room = port.clientWidth - 2;
  zoomTo(port, Math.min(1, room / naturalWidth(picture)));
}

/** The same unless the reader has zoomed, but never too small to read. */
function fitReadably(port) {
  const picture = port.querySelector("svg");
  if (!picture || !port.clientWidth) return;
  const zoom = Number(port.dataset.zoom) || Math.min(1, (port.clientWidth - 2) / naturalWidth(picture));
  picture.style.width = `${naturalWidth(picture) * Math.max(zoom, port.dataset.zoom ? 0 : LEAST_READABLE)}px`;
  picture.style.height = "auto";
}

function naturalWidth(picture) {
  return picture.viewBox.baseVal.width;
}

function zoomTo(port, zoom) {
  const picture = port.querySelector("svg");
  const bounded = Math.min(Math.max(zoom, SMALLEST), LARGEST);
  port.dataset.zoom = String(bounded);
  picture.style.width = `${naturalWidth(picture) * bounded}px`;
  picture.style.height = "auto";
}

/** Zooms around a point of the viewport, its middle unless said otherwise. */
function zoomBy(port, factor, x = port.clientWidth / 2, y = port.clientHeight / 2) {
  const picture = port.querySelector("svg");
  if (!picture) return;
  const now = picture.getBoundingClientRect().width / naturalWidth(picture);
  const [left, top] = [(port.scrollLeft + x) / now, (port.scrollTop + y) / now];
  zoomTo(port, now * factor);
  const then = picture.getBoundingClientRect().width / naturalWidth(picture);
  port.scrollTo(left * then - x, top * then - y);
}

function zoomByKey(port, event) {
  if (event.ctrlKey || event.metaKey || event.altKey) return;
  if (event.key === "+" || event.key === "=") zoomBy(port, STEP_OF_ZOOM);
  else if (event.key === "-") zoomBy(port, 1 / STEP_OF_ZOOM);
  else if (event.key === "0") fit(port);
  else return;
  event.preventDefault();
}

function zoomByWheel(port, event) {
  if (!event.ctrlKey && !event.metaKey) return;
  event.preventDefault();
  const edge = port.getBoundingClientRect();
  const factor = event.deltaY < 0 ? 1.1 : 1 / 1.1;
  zoomBy(port, factor, event.clientX - edge.left, event.clientY - edge.top);
}

/** A mouse drags the picture; a finger scrolls it anyway. */
function drag(port, event) {
  if (event.pointerType !== "mouse" || event.button !== 0) return;
  const start = { x: event.clientX + port.scrollLeft, y: event.clientY + port.scrollTop };
  const move = (moved) => port.scrollTo(start.x - moved.clientX, start.y - moved.clientY);
  const stop = () => {
    port.removeEventListener("pointermove", move);
    port.classList.remove("dragged");
  };
  port.setPointerCapture(event.pointerId);
  port.classList.add("dragged");
  port.addEventListener("pointermove", move);
  port.addEventListener("pointerup", stop, { once: true });
  port.addEventListener("pointercancel", stop, { once: true });
}
