// The stage: one place where a path is followed, which moves to the scenario that was opened. A
// table shows the moment and acts; below it stands how the path came there.

const stage = document.getElementById("stage");
const parts = Object.fromEntries(
  ["stage-title", "stage-close", "go-first", "go-back", "go-next", "go-last", "go-return", "position",
    "told", "remark", "now", "now-rows", "chart", "sequence", "own-steps", "so-far"]
    .map((id) => [id, document.getElementById(id)]));
const onStage = { path: null, opener: null, opened: null };

/** Opens a path in a slot of the page; the button that did it gets the focus back in the end. */
function openStage(path, opener) {
  closeStage();
  Object.assign(onStage, { path, opener });
  opener.closest("div.scenario, p").parentElement.querySelector(".slot").append(stage);
  opener.setAttribute("aria-expanded", "true");
  stage.hidden = false;
  parts["stage-title"].replaceChildren(own(path.title));
  openChart(path, opener);
  show();
  (path.plan.length ? parts["go-next"] : parts.now).focus({ preventScroll: true });
  stage.scrollIntoView({ block: "nearest" });
}

function closeStage() {
  if (stage.hidden) return;
  stage.hidden = true;
  document.body.append(stage);
  onStage.opener.setAttribute("aria-expanded", "false");
  onStage.opener.focus({ preventScroll: true });
  Object.assign(onStage, { path: null, opener: null, opened: null });
}

/** Shows the current step of the path everywhere. */
function show() {
  const { path } = onStage;
  showControls(path);
  showTold(path);
  showNow(path);
  showSoFar(path);
  stage.dataset.position = path.position;
}

function showControls(path) {
  const atEnd = path.position >= path.steps.length;
  setDisabled("go-first", path.position === 0);
  setDisabled("go-back", path.position === 0);
  setDisabled("go-next", atEnd);
  setDisabled("go-last", atEnd);
  const isAside = path.left !== null && path.plan.length > 0;
  parts["go-return"].hidden = !isAside;
  parts.position.textContent = isAside
    ? `step ${path.position}, off the scenario ${path.left ? `since step ${path.left}` : "from the start"}`
    : `step ${path.position} of ${path.steps.length}`;
}

/** Buttons keep the focus, so they are not disabled for the browser. */
function setDisabled(id, off) {
  parts[id].setAttribute("aria-disabled", String(off));
}

function beginning(path) {
  const [first] = stepsFrom(path.variant, path.state) ?? [];
  const isOpen = first && tellingOf(path.variant, first.telling).kind === "start";
  return isOpen
    ? "Before the start: the device may begin in several ways, of which the table shows the first."
    : "The start: every chip in its initial state.";
}

function showTold(path) {
  const lines = [];
  if (!path.last) lines.push(html("p", {}, beginning(path)));
  else {
    const { sentence } = tellingOf(path.variant, path.last.telling);
    lines.push(html("p", {}, html("b", { class: "step-number" }, `${path.position}.`), " ", own(sentence)));
    const changes = path.failed ? [] : changedVariables(path.variant, path.before, path.state);
    if (changes.length) {
      lines.push(html("p", { class: "changes" }, ...changes.map(({ field, old, now }) =>
        html("span", { class: "change" }, own(`${field.name} ${old} → ${now}`)))));
    }
    if (path.failed) lines.push(html("p", { class: "fails" }, "✕ This must not happen, and no state follows: ", own(tellingOf(path.variant, path.last.telling).failure)));
  }
  if (path.loop && path.left === null && path.position === path.steps.length) lines.push(html("p", { class: "loops" }, ending(path)));
  parts.told.replaceChildren(...lines);
}

/** How an infinite scenario continues. */
function ending(path) {
  if (path.loop > path.steps.length) return "Then it can stay like this forever: no further step has to happen.";
  return `↻ From here it loops back to step ${path.loop}, forever.`;
}

function showNow(path) {
  const remark = remarkOn(path);
  parts.remark.textContent = remark;
  parts.remark.hidden = !remark;
  parts["now-rows"].replaceChildren(...rowsOf(path, onStage.opened));
  if (onStage.opened) markStatechart(path, onStage.opened);
}

function go(position) {
  onStage.path.goTo(position);
  show();
}

function stepByKey(event) {
  if (!onStage.path || event.ctrlKey || event.metaKey || event.altKey || event.shiftKey) return;
  if (event.key === "Escape") return closeStage();
  if (event.target.closest(".viewport")) return;
  const { position, steps } = onStage.path;
  const goals = { ArrowRight: position + 1, ArrowLeft: position - 1, Home: 0, End: steps.length };
  if (!(event.key in goals)) return;
  event.preventDefault();
  const { opens } = document.activeElement.dataset;
  const { key } = document.activeElement.closest("tr")?.dataset ?? {};
  go(goals[event.key]);
  if (opens) parts["now-rows"].querySelector(`[data-opens="${opens}"]`).focus({ preventScroll: true });
  else if (key) keepFocus(key);
}

/** The table was rebuilt: the focus goes to the planned step, or stays in a row, or in the table. */
function keepFocus(key) {
  const rows = parts["now-rows"];
  const next = rows.querySelector(".planned") ?? rows.querySelector(`tr[data-key="${key}"] .choice`) ?? parts.now;
  next.focus({ preventScroll: true });
  if (next !== parts.now) next.scrollIntoView({ block: "nearest" });
}

function prepareStage() {
  const goals = {
    "go-first": () => 0, "go-back": ({ position }) => position - 1, "go-next": ({ position }) => position + 1,
    "go-last": ({ steps }) => steps.length, "go-return": ({ left }) => left,
  };
  for (const [id, goal] of Object.entries(goals)) {
    parts[id].addEventListener("click", () => {
      if (parts[id].getAttribute("aria-disabled") !== "true") go(goal(onStage.path));
    });
  }
  parts["go-return"].addEventListener("click", () => parts["go-next"].focus({ preventScroll: true }));
  parts["stage-close"].addEventListener("click", closeStage);
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
