// The possible next steps as buttons, each in the row of the part that takes it or is affected by it.

const USUAL = ["rule", "deliver", "discard", "tick", "idle"];

/** Buttons by the key of their row. Of a state whose steps the page does not hold, the planned one. */
function choicesOf(path) {
  const choices = new Map();
  for (const step of possibleSteps(path)) {
    const telling = tellingOf(path.variant, step.telling);
    const key = rowOf(telling);
    if (!choices.has(key)) choices.set(key, []);
    choices.get(key).push(choice(path, step, telling));
  }
  return choices;
}

function possibleSteps(path) {
  if (path.failed) return [];
  return stepsFrom(path.variant, path.state) ?? (path.planned ? [path.planned] : []);
}

/** The row of a step: a link's for what happens in the link, else a chip's, or that of time. */
function rowOf({ queue, chip }) {
  if (queue >= 0) return `link ${queue}`;
  return chip >= 0 ? `chip ${chip}` : "time";
}

function choice(path, step, telling) {
  const isPlanned = sameStep(step, path.planned);
  const isFailing = step.state === NOWHERE;
  return html("li", {}, html("button", {
    type: "button", class: `choice${isPlanned ? " planned" : ""}${isFailing ? " failing" : ""}`,
    "aria-current": isPlanned ? "step" : null,
    onclick: (event) => choose(step, event.currentTarget),
  },
  USUAL.includes(telling.kind) ? null : html("b", { class: "fault" }, "Fault: "),
  own(telling.sentence),
  ...notesOn(path, step, isPlanned).flatMap((note) => [" ", html("span", { class: "note" }, note)])));
}

function notesOn(path, step, isPlanned) {
  const notes = isPlanned ? ["▸ next in the scenario"] : [];
  const known = path.positionOf(step.state);
  if (step.state === NOWHERE) notes.push("✕ must not happen");
  else if (step.state === path.state) notes.push("changes nothing");
  else if (known >= 0) notes.push(known ? `back to where step ${known} led` : "back to the start");
  else if (!isPlanned && !path.variant.walk.steps[step.state]) notes.push("to the edge of this page");
  return notes;
}

function choose(step, button) {
  const { key } = button.closest("tr").dataset;
  onStage.path.take(step);
  show();
  keepFocus(key);
}

/** A remark where a table has no choices, or not all of them; otherwise empty. */
function remarkOn(path) {
  if (path.failed) return "Go back to choose another step.";
  const steps = stepsFrom(path.variant, path.state);
  if (steps) return steps.length ? "" : "No step is possible here: this is the end of every run.";
  const { held, states } = path.variant;
  return `This is the edge of what the page holds: the next steps of ${held.toLocaleString("en")} of ${states.toLocaleString("en")} states. ${path.planned ? "Of this state, it holds only the scenario’s next step." : "Go back to choose another step."}`;
}
