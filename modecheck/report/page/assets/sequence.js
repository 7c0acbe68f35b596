// How a path came to where it is: the sequence chart of its scenario, a copy of the page's own picture
// in which the current step is marked, and in words the steps that the reader chose.

/** Shows the chart of the scenario that a button opened, if it has one. */
function openChart(path, opener) {
  const drawn = opener.closest(".scenario")?.querySelector(".chart svg");
  parts.chart.hidden = !drawn;
  delete parts.sequence.dataset.zoom;
  parts.sequence.replaceChildren(...(drawn ? [withHeadsOnTop(drawn.cloneNode(true))] : []));
  parts.sequence.setAttribute("aria-label", `Sequence chart, current step marked: ${brief(path.title, 160)}`);
}

function showSoFar(path) {
  if (!parts.chart.hidden) markChart(parts.sequence, path.left ?? path.position);
  const from = path.left ?? (path.plan.length ? path.steps.length : 0);
  const told = path.steps.slice(from, path.position).map(({ telling }) => html("li", {}, own(tellingOf(path.variant, telling).sentence)));
  parts["own-steps"].replaceChildren(...told);
  parts["own-steps"].start = from + 1;
  parts["so-far"].hidden = parts.chart.hidden && !told.length;
}

/** Marks the step with a number, or the span of time that it belongs to, and shows it. */
function markChart(port, position) {
  const picture = port.querySelector("svg");
  picture.querySelector(".band")?.remove();
  const [beginning, ...steps] = picture.querySelectorAll(".step");
  const begin = Number(steps[0]?.dataset.step ?? 1) - 1;
  const now = position > begin ? steps.findLast(({ dataset }) => Number(dataset.step) <= position) : position === begin && beginning;
  for (const line of picture.querySelectorAll(".arrow[data-step]")) {
    line.classList.toggle("is-taken", position > 0 && [line.dataset.step, line.dataset.until].includes(String(position)));
  }
  fitReadably(port);
  if (!now) return;
  const { x, width } = picture.viewBox.baseVal;
  const place = now.getBBox();
  const band = svg("rect", { class: "band", "data-step": now.dataset.step, x: x + 6, y: place.y - 4, width: width - 12, height: place.height + 9 });
  picture.querySelector(".lane, .step").before(band);
  const [shown, edge] = [now.getBoundingClientRect(), port.getBoundingClientRect()];
  port.scrollTop += (shown.top + shown.bottom - edge.top - edge.bottom) / 2;
  showSigns([...now.querySelectorAll("g"), ...picture.querySelectorAll(".is-taken")], port, edge);
  keepHeadsInSight(port);
}

/** Scrolls sideways to what happens in a step, where the chart is wider than its viewport. */
function showSigns(signs, port, edge) {
  if (!signs.length) return;
  const places = signs.map((sign) => sign.getBoundingClientRect());
  const [left, right] = [Math.min(...places.map((one) => one.left)), Math.max(...places.map((one) => one.right))];
  if (left < edge.left || right > edge.right) port.scrollLeft += Math.min(left - edge.left - 12, (left + right - edge.left - edge.right) / 2);
}

/** The heads of the lanes once more, on a ground of their own: they stay in sight. */
function withHeadsOnTop(picture) {
  const heads = [...picture.querySelectorAll(".lane[data-chip]")].map((lane) => lane.querySelector(".head, .player").cloneNode(true));
  const { x, width } = picture.viewBox.baseVal;
  const top = Number(heads[0]?.querySelector("rect").getAttribute("y") ?? 0);
  const ground = svg("rect", { class: "ground-0", x: x + 6, y: top - 6, width: width - 12, height: 36 });
  picture.append(svg("g", { class: "heads", "data-top": top - 6 }, ground, ...heads));
  return picture;
}

function keepHeadsInSight(port) {
  const [picture, heads] = [port.querySelector("svg"), port.querySelector(".heads")];
  if (!heads) return;
  const { y, width } = picture.viewBox.baseVal;
  const zoom = picture.getBoundingClientRect().width / width || 1;
  heads.setAttribute("transform", `translate(0 ${Math.max(port.scrollTop / zoom + y - Number(heads.dataset.top), 0)})`);
}
