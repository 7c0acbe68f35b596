// The model's parts and the states that the page holds. States stand as differences from an
// earlier state; they are reconstructed on demand, and kept.

const data = JSON.parse(document.getElementById("model-data").textContent);
const NOWHERE = -1;

for (const variant of data.variants) {
  variant.vectors = [variant.fields.map((field) => field.start)];
}

/** The values of all fields in a state. */
function vectorOf(variant, number) {
  const missing = [];
  for (let here = number; !variant.vectors[here]; here = variant.walk.states[here][0]) {
    missing.push(here);
  }
  while (missing.length) {
    const next = missing.pop();
    const [origin, , ...changes] = variant.walk.states[next];
    const vector = variant.vectors[origin].slice();
    for (let at = 0; at < changes.length; at += 2) vector[changes[at]] = changes[at + 1];
    variant.vectors[next] = vector;
  }
  return variant.vectors[number];
}

/** The names of the modes that a state is in. */
function modesOf(variant, number) {
  const bits = variant.walk.states[number][1];
  return variant.modes.filter((_, bit) => Math.floor(bits / 2 ** bit) % 2 === 1);
}

/** The name of the innermost state that a chip is in. */
function leafOf(variant, number, chip) {
  const form = variant.chips[chip];
  return form.leaves[vectorOf(variant, number)[form.field]];
}

/** The steps that lead from a state, or null where the page does not hold them. */
function stepsFrom(variant, number) {
  const flat = variant.walk.steps[number];
  if (!flat) return null;
  const steps = [];
  for (let at = 0; at < flat.length; at += 2) {
    steps.push({ telling: flat[at], state: flat[at + 1] });
  }
  return steps;
}

/** A telling by its number. */
function tellingOf(variant, number) {
  const [kind, queue, chip, sentence, rules, failure] = variant.walk.tellings[number];
  return { kind, queue, chip, sentence, rules, failure };
}

/** A value as it is written in a model. */
function spelled(type, value) {
  const word = type.words && type.words[value - type.low];
  return word === undefined ? String(value) : word;
}

/** The variables of chips, as [number of the field, field]. */
function variablesOf(variant) {
  return variant.fields.map((field, at) => [at, field]).filter(([, field]) => "chip" in field);
}

/** What a step changed in the variables: field, value before, value after. */
function changedVariables(variant, before, after) {
  const [old, now] = [vectorOf(variant, before), vectorOf(variant, after)];
  return variablesOf(variant)
    .filter(([at]) => old[at] !== now[at])
    .map(([at, field]) => ({ field, old: spelled(field, old[at]), now: spelled(field, now[at]) }));
}

/** The messages that wait in a link, head first. */
function waitingIn(variant, number, queue) {
  const vector = vectorOf(variant, number);
  return queue.slots
    .filter(([code]) => vector[code])
    .map(([code, value, late]) => {
      const message = queue.messages[vector[code] - 1];
      const carried = value >= 0 && "low" in message ? `(${spelled(message, vector[value])})` : "";
      return `${message.name}${carried}${late >= 0 && vector[late] ? " (late)" : ""}`;
    });
}
