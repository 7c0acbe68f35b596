// What a path leaves in a sequence chart: for each step a list of items, each on one lane or
// between lanes, in the order in which they happen. Messages on their way are followed here.

/** The steps of a chart, numbered after `already` others. `flights` are messages, from where to
 * where they went. */
function chartOf(variant, path, already = 0) {
  const chart = { variant, lanes: [], steps: [], flights: [], waiting: variant.queues.map(() => []) };
  foundAtTheStart(chart, path.start);
  let before = path.start;
  path.steps.forEach((step, at) => {
    if (goesOn(chart, path, at, already)) {
      const last = chart.steps.at(-1);
      last.ticks = (last.ticks ?? 1) + 1;
      last.until = already + at + 1;
      last.items[0].text = `${last.ticks} × ${tellingOf(variant, step.telling).sentence}`;
      before = step.state;
      return;
    }
    chart.steps.push({ number: already + at + 1, items: itemsOf(chart, step, before) });
    if (step.state !== NOWHERE) before = step.state;
  });
  return chart;
}

/** Whether a step, like the one before it, only lets time pass, and the device stays in its modes. */
function goesOn(chart, path, at, already) {
  const isTick = (step) => tellingOf(chart.variant, step.telling).kind === "tick";
  if (!at || !isTick(path.steps[at]) || !isTick(path.steps[at - 1])) return false;
  return path.steps[at].state !== NOWHERE && chart.steps.at(-1).items.length === 1 && already + at + 1 !== path.loop;
}

/** The lanes of all these steps, so that none comes late: chips in the model's order. */
function lanesOf(variant, steps) {
  const used = new Set();
  for (const step of steps) {
    for (const mark of tellingOf(variant, step.telling).marks) addLanes(variant, mark, used);
  }
  const every = [...variant.chips.keys()];
  return used.size ? every.filter((chip) => used.has(chip)) : every.filter((chip) => !variant.chips[chip].actor);
}

function addLanes(variant, mark, used) {
  const [kind, about] = mark;
  if (kind === "took") used.add(variant.rules[about][0]);
  else if (kind === "signalled" || kind === "struck") {
    used.add(about);
    if (kind === "signalled") mark[3].forEach((chip) => used.add(chip));
  } else {
    used.add(variant.queues[about].from);
    used.add(variant.queues[about].to);
  }
}

/** Messages that wait before the path begins come from nowhere. */
function foundAtTheStart(chart, start) {
  chart.variant.queues.forEach((queue, number) => {
    for (const text of waitingIn(chart.variant, start, queue)) {
      depart(chart, number, { kind: "found", queue: number }, text);
    }
  });
}

function depart(chart, queue, item, text) {
  const flight = { queue, text, from: item, to: null, end: "" };
  chart.flights.push(flight);
  chart.waiting[queue].push(flight);
  item.flight = flight;
  return item;
}

function itemsOf(chart, step, before) {
  const { variant } = chart;
  const telling = tellingOf(variant, step.telling);
  const items = telling.marks.flatMap((mark) => MARKS[mark[0]](chart, mark));
  if (step.state !== NOWHERE) {
    noteChanges(variant, items, changedVariables(variant, before, step.state));
    const [old, now] = [modesOf(variant, before), modesOf(variant, step.state)];
    if (old.join() !== now.join()) {
      items.push({ kind: "aside", text: now.length ? `mode ${now.join(", ")}` : "no mode" });
    }
  }
  if (telling.failure) items.push({ kind: "failure", text: telling.failure });
  if (!items.length) items.push({ kind: "aside", text: telling.kind === "tick" ? telling.sentence : telling.label });
  return items;
}

const MARKS = {
  took(chart, [, rule, before, after]) {
    const [chip, , [doing, waited]] = chart.variant.rules[rule];
    const items = [];
    if (waited) items.push({ kind: "timeout", chip, text: waited });
    items.push({ kind: "action", chip, text: doing, notes: [] });
    if (before !== after) {
      items.push({ kind: "state", chip, text: chart.variant.chips[chip].leaves[after] });
    }
    return items;
  },
  signalled(chart, [, chip, signal, heard]) {
    return [{ kind: "signal", chip, heard, text: chart.variant.signals[signal] }];
  },
  sent(chart, [, queue, text]) {
    return [depart(chart, queue, { kind: "sent", queue, text }, text)];
  },
  joined(chart, [, queue, code, text]) {
    const name = chart.variant.queues[queue].messages[code - 1].name;
    const flight = chart.waiting[queue].findLast((one) => one.text.split(/[ (]/)[0] === name);
    return [{ kind: "joined", queue, text, flight }];
  },
  unsent(chart, [, queue, text, why]) {
    return [{ kind: "unsent", queue, text: `${text}: ${why}` }];
  },
  arrived(chart, [, queue, text, outcome]) {
    return [end(chart, queue, { kind: "arrived", queue, text, outcome })];
  },
  gone(chart, [, queue, why]) {
    return [end(chart, queue, { kind: "gone", queue, text: why })];
  },
  doubled(chart, [, queue]) {
    const [head] = chart.waiting[queue];
    const item = depart(chart, queue, { kind: "doubled", queue, text: "again" }, head.text);
    chart.waiting[queue].splice(1, 0, chart.waiting[queue].pop());
    return [item];
  },
  struck(chart, [, chip, words]) {
    const form = chart.variant.chips[chip];
    const first = form.leaves[chart.variant.fields[form.field].start];
    return [
      { kind: "struck", chip, text: words, notes: [] },
      { kind: "state", chip, text: first },
    ];
  },
};

function end(chart, queue, item) {
  const flight = chart.waiting[queue].shift();
  flight.to = item;
  flight.end = item.kind;
  item.flight = flight;
  return item;
}

/** Changed variables stand in the last action of their chip in the step. */
function noteChanges(variant, items, changes) {
  for (const { field, old, now } of changes) {
    const own = items.findLast((item) => item.chip === field.chip && item.notes);
    if (own) own.notes.push(`${field.name.split(".").slice(1).join(".")} ${old} → ${now}`);
  }
}
