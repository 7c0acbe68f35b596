// The statechart that is open in the table: a copy of the page's own picture, which marks where its
// chip is and the rules that it has just taken. At most one is open.

/** The viewport with the page's statechart of a chip, or undefined where it could not be drawn. */
function pictureOf(variantNumber, chip) {
  const { name } = data.variants[variantNumber].chips[chip];
  const every = document.querySelectorAll("main .viewport[data-picture]");
  return [...every].find((port) =>
    port.dataset.picture === `chip-${name}` && port.dataset.variants.split(" ").includes(String(variantNumber)));
}

/** The state of a chip as a button that opens its statechart, and closes it again. */
function stateButton(variantNumber, chip, [now, ...was]) {
  if (!pictureOf(variantNumber, chip)) return [now, ...was];
  const isOpen = onStage.opened?.chip === chip;
  const { name } = data.variants[variantNumber].chips[chip];
  return [html("button", {
    type: "button", class: "state", "aria-expanded": String(isOpen), "data-opens": chip, onclick: () => toggleStatechart(chip),
  }, now, html("span", { class: "spoken" }, ` (statechart of ${brief(name, 80)})`)), ...was];
}

function toggleStatechart(chip) {
  onStage.opened = onStage.opened?.chip === chip ? null : openedStatechart(onStage.path.variantNumber, chip);
  showNow(onStage.path);
  parts["now-rows"].querySelector(`[data-opens="${chip}"]`).focus({ preventScroll: true });
}

function openedStatechart(variantNumber, chip) {
  const { name } = data.variants[variantNumber].chips[chip];
  const port = html("div", { class: "viewport", tabindex: "0", role: "group", "aria-label": `Statechart of ${brief(name, 80)}, current state marked` });
  port.append(pictureOf(variantNumber, chip).querySelector("svg").cloneNode(true));
  const box = html("div", {}, port);
  makeViewport(port);
  return { chip, box, port };
}

function statechartRow({ box }) {
  return html("tr", { role: "row", class: "opened" }, html("td", { role: "cell", colspan: "4" }, box));
}

/** Marks where the chip is after a path's last step and what it took in it, and shows its state. */
function markStatechart(path, { chip, port }) {
  const { leaves, around } = path.variant.chips[chip];
  const leaf = leafOf(path.variant, path.state, chip);
  const outer = around[leaves.indexOf(leaf)];
  const taken = path.last ? rulesTaken(path.variant, path.last.telling, chip) : [];
  for (const box of port.querySelectorAll("[data-state]")) {
    box.classList.toggle("is-current", box.dataset.state === leaf);
    box.classList.toggle("is-around", outer.includes(box.dataset.state));
  }
  for (const drawn of port.querySelectorAll(".arrow[data-rules], .label[data-rules]")) {
    drawn.classList.toggle("is-taken", drawn.dataset.rules.split("\n").some((title) => taken.includes(title)));
  }
  centre(port);
}

/** The titles of the rules of a chip that a step took. */
function rulesTaken(variant, telling, chip) {
  const rules = tellingOf(variant, telling).rules.map((rule) => variant.rules[rule]);
  return rules.filter(([taker]) => taker === chip).map(([, title]) => title);
}

/** Shows the current state in the middle of the viewport. */
function centre(port) {
  fitReadably(port);
  const box = port.querySelector(".is-current");
  if (!box) return;
  const [place, edge] = [box.getBoundingClientRect(), port.getBoundingClientRect()];
  port.scrollBy(place.left + place.width / 2 - edge.left - edge.width / 2, place.top + place.height / 2 - edge.top - edge.height / 2);
}
