// The next steps of a free walk, as buttons, grouped by who takes them.

const GROUPS = [
  ["people", "People and surroundings"],
  ["chips", "Chips"],
  ["links", "Messages that arrive"],
  ["faults", "Faults"],
];

function showChoices(path) {
  parts.choices.hidden = !path.free;
  if (!path.free) return;
  parts.choices.replaceChildren(...choicesIn(path));
}

function choicesIn(path) {
  const steps = path.failed ? [] : stepsFrom(path.variant, path.state);
  if (steps === null) return [outside(path)];
  if (!steps.length) return [html("p", {}, path.failed ? "Go back and choose another step." : "No step is possible here: nobody ever moves again.")];
  const groups = new Map(GROUPS.map(([key]) => [key, []]));
  for (const step of steps) {
    const telling = tellingOf(path.variant, step.telling);
    groups.get(groupOf(path.variant, telling)).push(choice(path, step, telling));
  }
  return GROUPS.filter(([key]) => groups.get(key).length).map(([key, title]) =>
    html("div", { role: "group", "aria-label": title },
      html("p", { class: "group-title", "aria-hidden": "true" }, title),
      html("ul", {}, ...groups.get(key))));
}

function groupOf(variant, telling) {
  if (["deliver", "ignore"].includes(telling.kind)) return "links";
  if (telling.kind !== "rule") return "faults";
  const first = telling.marks.find(([kind]) => kind === "took");
  return first && variant.chips[variant.rules[first[1]][0]].actor ? "people" : "chips";
}

function choice(path, step, telling) {
  const notes = [];
  const known = path.positionOf(step.state);
  if (step.state === NOWHERE) notes.push("✕ must not happen");
  else if (step.state === path.state) notes.push("changes nothing");
  else if (known >= 0) notes.push(known ? `back to where step ${known} led` : "back to the start");
  else if (!path.variant.walk.steps[step.state]) notes.push("to the edge of this page");
  return html("li", {}, html("button", { type: "button", class: "choice", "data-telling": step.telling, "data-leads": step.state, onclick: () => choose(step) },
    own(telling.sentence), ...notes.map((note) => html("span", { class: "note" }, ` ${note}`))));
}

function choose(step) {
  onStage.path.take(step);
  show();
  parts.choices.focus({ preventScroll: true });
}

function outside(path) {
  const { held, states } = path.variant;
  return html("p", { class: "outside" },
    `This is the edge of what the page holds: the steps of ${held.toLocaleString("en")} of ${states.toLocaleString("en")} states. Go back and choose another step.`);
}
