// The table of where everybody is: states, variables, links, modes. What the last step changed is
// marked, with what it was before.

/** The table for a state; `before` is the state before the last step, or the same. */
function whereaboutsOf(variant, before, after) {
  const body = html("tbody");
  variant.chips.forEach((form, chip) => body.append(chipRow(variant, form, chip, before, after)));
  for (const queue of variant.queues) {
    const [old, now] = [waitingIn(variant, before, queue), waitingIn(variant, after, queue)];
    if (old.length || now.length) {
      body.append(row(queue.name, "link", cell(now.join(", ") || "empty", old.join(", ") || "empty")));
    }
  }
  for (const [at, name] of budgetsOf(variant)) {
    const [old, now] = [vectorOf(variant, before)[at], vectorOf(variant, after)[at]];
    body.append(row(name, "fault", cell(String(now), String(old))));
  }
  return html("table", { class: "whereabouts" },
    html("thead", {}, html("tr", {},
      html("th", { scope: "col" }, "Who"), html("th", { scope: "col" }, "State"),
      html("th", { scope: "col" }, "Variables"))), body);
}

function budgetsOf(variant) {
  return [...new Map(variant.budgets).entries()];
}

function row(name, kind, state, variables = []) {
  return html("tr", {}, html("th", { scope: "row" }, own(name, 80), " ", html("span", { class: "kind" }, kind)),
    html("td", {}, ...state), html("td", {}, ...variables));
}

function chipRow(variant, form, chip, before, after) {
  const [old, now] = [leafOf(variant, before, chip), leafOf(variant, after, chip)];
  const [was, is] = [vectorOf(variant, before), vectorOf(variant, after)];
  const variables = variablesOf(variant)
    .filter(([, field]) => field.chip === chip)
    .map(([at, field]) => variableLine(field, spelled(field, is[at]), spelled(field, was[at])));
  const line = row(form.name, form.actor ? "actor" : "chip", cell(now, old), variables);
  line.dataset.chip = form.name;
  line.dataset.state = now;
  return line;
}

function variableLine(field, now, old) {
  const name = field.name.split(".").slice(1).join(".");
  return html("div", { class: "variable", "data-variable": field.name, "data-value": now }, own(name), " ", ...cell(now, old));
}

/** A value, marked if it was another one before. */
function cell(now, old) {
  if (now === old) return [own(now, 80)];
  return [html("mark", {}, own(now, 80)), " ", html("span", { class: "was" }, "was ", own(old, 80))];
}
