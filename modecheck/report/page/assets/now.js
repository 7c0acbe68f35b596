// The table of a moment: a row for the device, for each chip and actor, each link in use, and for
// time. It tells where each is and what it knows, and holds the buttons of what can happen next.
// What the last step changed is marked, with what it was before.

const HEADS = ["Where", "What it knows", "Can do next"];

/** The rows after a path's last step; under a chip's row its statechart, if that is the open one. */
function rowsOf(path, opened) {
  const { variant, before, state } = path;
  const choices = choicesOf(path);
  const chips = variant.chips.flatMap((form, chip) => [
    chipRow(path, chip, choices.get(`chip ${chip}`)),
    ...(opened?.chip === chip ? [statechartRow(opened)] : []),
  ]);
  const links = variant.queues.map((_, queue) => linkRow(path, queue, choices.get(`link ${queue}`)));
  const rows = [deviceRow(variant, before, state), ...chips, ...links, timeRow(path, choices)];
  return rows.filter((row) => row !== null);
}

function rowOfTable(key, name, kind, ...cells) {
  return html("tr", { role: "row", "data-key": key },
    html("th", { role: "rowheader", scope: "row" }, own(name, 80), " ", html("span", { class: "kind" }, kind)),
    ...HEADS.map((head, at) => html("td", { role: "cell", "data-head": head }, ...(cells[at] ?? []))));
}

/** The modes that the device is in, and how many faults of each kind are left. */
function deviceRow(variant, before, state) {
  const budgets = new Map(variant.budgets);
  if (!variant.modes.length && !budgets.size) return null;
  const [is, was] = [vectorOf(variant, state), vectorOf(variant, before)];
  const [now, old] = [state, before].map((number) => modesOf(variant, number).join(", "));
  return rowOfTable("device", "device", "",
    variant.modes.length ? value(now ? `mode ${now}` : "no mode", old ? `mode ${old}` : "no mode") : [],
    [...budgets].map(([at, name]) => named(name, String(is[at]), String(was[at]))));
}

function chipRow({ variant, variantNumber, before, state }, chip, choices) {
  const form = variant.chips[chip];
  const [now, old] = [leafOf(variant, state, chip), leafOf(variant, before, chip)];
  const [is, was] = [vectorOf(variant, state), vectorOf(variant, before)];
  const variables = variablesOf(variant).filter(([, field]) => field.chip === chip).map(([at, field]) => {
    const line = named(field.name.split(".").slice(1).join("."), spelled(field, is[at]), spelled(field, was[at]));
    Object.assign(line.dataset, { variable: field.name, value: spelled(field, is[at]) });
    return line;
  });
  const row = rowOfTable(`chip ${chip}`, form.name, form.actor ? "actor" : "chip",
    stateButton(variantNumber, chip, value(now, old)), variables, listOf(choices));
  Object.assign(row.dataset, { chip: form.name, state: now });
  return row;
}

/** A link that holds something, held something, or can do something; else null. */
function linkRow({ variant, before, state }, number, choices) {
  const queue = variant.queues[number];
  const [now, old] = [state, before].map((one) => waitingIn(variant, one, queue).join(", "));
  if (!now && !old && !choices) return null;
  return rowOfTable(`link ${number}`, queue.name, "link",
    [own(variant.chips[queue.from].name, 80), " → ", own(variant.chips[queue.to].name, 80)],
    [named("in flight", now || "nothing", old || "nothing")], listOf(choices));
}

/** Time, where the device has a clock or nothing else has to happen. */
function timeRow({ variant }, choices) {
  const own = choices.get("time");
  if (!own && !variant.timed) return null;
  const waits = choices.size && !own ? ["cannot pass before one of these steps"] : [];
  return rowOfTable("time", "time", "", [], [], own ? listOf(own) : waits);
}

function listOf(choices) {
  return choices ? [html("ul", { class: "choices" }, ...choices)] : [];
}

function named(name, now, old) {
  return html("span", { class: "named" }, own(name, 80), " ", ...value(now, old));
}

/** A value, marked if it was another one before. */
function value(now, old) {
  if (now === old) return [html("b", {}, own(now, 80))];
  return [html("mark", {}, own(now, 80)), " ", html("span", { class: "was" }, "was ", own(old, 80))];
}
