// Statecharts that show where their chips are: marks on the pictures of the page, and copies of
// those that matter beside the steps.

const MARKED = ["is-current", "is-around", "is-taken"];

/** The viewports with a chip's statechart in a variant. */
function chartsOf(variantNumber, form) {
  const every = document.querySelectorAll("main section.chip .viewport[data-picture]");
  return [...every].filter((port) =>
    port.dataset.picture === `chip-${form.name}` && port.dataset.variants.split(" ").includes(String(variantNumber)));
}

/** Marks the current state in every statechart of the page, and the rules that were just taken. */
function markEverywhere(variantNumber, state, taken) {
  unmarkEverywhere();
  const variant = data.variants[variantNumber];
  variant.chips.forEach((form, chip) => {
    for (const port of chartsOf(variantNumber, form)) mark(port, variant, state, chip, taken);
  });
}

/** Takes all marks away. */
function unmarkEverywhere() {
  for (const name of MARKED) {
    for (const marked of document.querySelectorAll(`.${name}`)) marked.classList.remove(name);
  }
}

function mark(port, variant, state, chip, taken) {
  const leaf = leafOf(variant, state, chip);
  const form = variant.chips[chip];
  const around = form.around[form.leaves.indexOf(leaf)];
  const rules = new Set(taken.filter((rule) => variant.rules[rule][0] === chip).map((rule) => variant.rules[rule][1]));
  for (const box of port.querySelectorAll("[data-state]")) {
    box.classList.toggle("is-current", box.dataset.state === leaf);
    box.classList.toggle("is-around", around.includes(box.dataset.state));
  }
  for (const drawn of port.querySelectorAll(".arrow[data-rules], .label[data-rules]")) {
    drawn.classList.toggle("is-taken", drawn.dataset.rules.split("\n").some((title) => rules.has(title)));
  }
}

/** The rules that a step took. */
function rulesTaken(variant, telling) {
  return telling.marks.filter(([kind]) => kind === "took").map(([, rule]) => rule);
}

/** Copies of the statecharts of some chips, as they are marked now, each with a heading. */
function copiesOf(variantNumber, chips) {
  const variant = data.variants[variantNumber];
  return chips.flatMap((chip) => {
    const form = variant.chips[chip];
    const [port] = chartsOf(variantNumber, form);
    if (!port) return [];
    const copy = html("div", { class: "viewport", tabindex: "0", role: "group", "aria-label": `Statechart of ${form.name.slice(0, 100)}, current state marked` });
    copy.append(port.querySelector("svg").cloneNode(true));
    return [html("figure", { class: "statechart" }, html("figcaption", {}, own(form.name)), copy)];
  });
}
