// The stage: one place where a path is followed, which moves to the scenario that was opened.

const stage = document.getElementById("stage");
const parts = Object.fromEntries(
  ["stage-title", "stage-close", "go-first", "go-back", "go-next", "go-last", "position", "go-walk", "go-return",
    "told", "choices", "sequence", "whereabouts", "which-charts", "statecharts"]
    .map((id) => [id, document.getElementById(id)]));
const onStage = { path: null, scenario: null, opener: null };

/** Opens a path in a slot of the page; the button that did it gets the focus back in the end. */
function openStage(path, opener) {
  closeStage();
  Object.assign(onStage, { path, opener, scenario: path.free ? null : path });
  opener.closest("div.scenario, p").parentElement.querySelector(".slot").append(stage);
  opener.setAttribute("aria-expanded", "true");
  stage.hidden = false;
  parts["stage-title"].replaceChildren(own(path.title));
  fillChoiceOfCharts(path.variant);
  show();
  parts["go-next"].focus({ preventScroll: true });
  stage.scrollIntoView({ block: "nearest" });
}

function closeStage() {
  if (stage.hidden) return;
  stage.hidden = true;
  document.body.append(stage);
  unmarkEverywhere();
  if (onStage.opener) {
    onStage.opener.setAttribute("aria-expanded", "false");
    onStage.opener.focus({ preventScroll: true });
  }
  Object.assign(onStage, { path: null, scenario: null, opener: null });
}

/** Shows the step that the path is at, everywhere. */
function show() {
  const { path } = onStage;
  const telling = path.last ? tellingOf(path.variant, path.last.telling) : null;
  showControls(path);
  showTold(path, telling);
  showChoices(path);
  showSequence(path);
  parts.whereabouts.replaceChildren(whereaboutsOf(path.variant, path.before, path.state));
  markEverywhere(path.variantNumber, path.state, telling ? rulesTaken(path.variant, telling) : []);
  showStatecharts(path, telling);
  Object.assign(stage.dataset, { position: path.position, state: path.state, failed: path.failed });
}

function showControls(path) {
  const atEnd = path.position >= path.steps.length;
  setDisabled("go-first", path.position === 0);
  setDisabled("go-back", path.position === 0);
  setDisabled("go-next", path.free || atEnd);
  setDisabled("go-last", path.free || atEnd);
  parts["go-walk"].hidden = path.free || path.failed;
  parts["go-return"].hidden = !(path.free && onStage.scenario);
  parts.position.textContent = path.free
    ? `step ${path.position} of a free walk`
    : `step ${path.position} of ${path.steps.length}`;
}

/** Buttons keep the focus, so they are not disabled for the browser. */
function setDisabled(id, off) {
  parts[id].setAttribute("aria-disabled", String(off));
}

function showTold(path, telling) {
  const lines = [];
  if (!telling) lines.push(html("p", {}, "The start: every chip in its initial state."));
  else {
    lines.push(html("p", {}, html("b", { class: "step-number" }, `${path.position}.`), " ", own(telling.sentence)));
    const changes = path.failed ? [] : changedVariables(path.variant, path.before, path.state);
    if (changes.length) {
      lines.push(html("p", { class: "changes" }, ...changes.map(({ field, old, now }) =>
        html("span", { class: "change" }, own(`${field.name} ${old} → ${now}`)))));
    }
    if (path.failed) lines.push(html("p", { class: "fails" }, "✕ This step must not happen; nothing comes after it."));
  }
  if (path.loop && path.position === path.steps.length) lines.push(html("p", { class: "loops" }, ending(path)));
  parts.told.replaceChildren(...lines);
}

/** How a scenario without an end goes on. */
function ending(path) {
  if (path.loop > path.steps.length) return "And so it stays: nothing has to happen any more.";
  return `↻ From here it goes on with step ${path.loop}, again and again.`;
}

function showSequence(path) {
  const words = `Sequence chart of ${path.position} steps: ${path.title}`;
  parts.sequence.replaceChildren(drawnSequence(path, words));
  fitReadably(parts.sequence);
  showCurrentBand(parts.sequence);
}

const MOVED = "moved";
const ALL = "all";

function fillChoiceOfCharts(variant) {
  const choices = [[MOVED, "who moves in this step"], [ALL, "everybody"], ...variant.chips.map((form, chip) => [chip, form.name.slice(0, 60)])];
  const before = parts["which-charts"].value || MOVED;
  parts["which-charts"].replaceChildren(...choices.map(([value, text]) => html("option", { value }, text)));
  parts["which-charts"].value = before;
}

function showStatecharts(path, telling) {
  const wanted = parts["which-charts"].value;
  const moved = telling ? [...moversOf(path.variant, telling)] : lanesOf(path.variant, path);
  const every = [...path.variant.chips.keys()];
  const chips = wanted === MOVED ? moved : wanted === ALL ? every : [Number(wanted)];
  const copies = copiesOf(path.variantNumber, chips.sort((one, two) => one - two));
  parts.statecharts.replaceChildren(...(copies.length ? copies : [html("p", { class: "remark" }, "Nobody moves in this step.")]));
  for (const port of parts.statecharts.querySelectorAll(".viewport")) centre(port);
}

/** Shows the current state of a statechart in the middle of its viewport. */
function centre(port) {
  fitReadably(port);
  const box = port.querySelector(".is-current");
  if (!box) return;
  const [place, edge] = [box.getBoundingClientRect(), port.getBoundingClientRect()];
  port.scrollBy(place.left + place.width / 2 - edge.left - edge.width / 2, place.top + place.height / 2 - edge.top - edge.height / 2);
}

function go(position) {
  onStage.path.goTo(position);
  show();
}

function startWalking() {
  onStage.path = Path.freeFrom(onStage.path);
  show();
  parts.choices.focus({ preventScroll: true });
}

function returnToScenario() {
  onStage.path = onStage.scenario;
  show();
  parts["go-next"].focus({ preventScroll: true });
}

function stepByKey(event) {
  if (!onStage.path || event.ctrlKey || event.metaKey || event.altKey || event.shiftKey) return;
  if (event.key === "Escape") return closeStage();
  if (event.target.closest(".viewport, .wide, select, input")) return;
  const { path } = onStage;
  const goals = { ArrowRight: path.free ? path.position : path.position + 1, ArrowLeft: path.position - 1, Home: 0, End: path.free ? path.position : path.steps.length };
  if (!(event.key in goals)) return;
  event.preventDefault();
  go(goals[event.key]);
}

function prepareStage() {
  const steps = { "go-first": () => go(0), "go-back": () => go(onStage.path.position - 1), "go-next": () => go(onStage.path.position + 1), "go-last": () => go(onStage.path.steps.length) };
  for (const [id, action] of Object.entries(steps)) {
    parts[id].addEventListener("click", () => {
      if (parts[id].getAttribute("aria-disabled") !== "true") action();
    });
  }
  parts["go-walk"].addEventListener("click", startWalking);
  parts["go-return"].addEventListener("click", returnToScenario);
  parts["stage-close"].addEventListener("click", closeStage);
  parts["which-charts"].addEventListener("change", show);
  stage.addEventListener("keydown", stepByKey);
  parts.sequence.addEventListener("scroll", () => keepHeadsInSight(parts.sequence));
  for (const button of document.querySelectorAll("button.open")) {
    button.addEventListener("click", () => {
      if (button.getAttribute("aria-expanded") === "true") closeStage();
      else openStage(pathOf(button), button);
    });
  }
}

function pathOf(button) {
  return "walk" in button.dataset ? Path.fromStart(Number(button.dataset.walk)) : Path.ofScenario(Number(button.dataset.open));
}
