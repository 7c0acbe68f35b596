// A path that a reader follows: a scenario, whose steps are known, or a walk, whose next step the
// reader chooses.

class Path {
  constructor(variantNumber, start, steps, title) {
    this.variantNumber = variantNumber;
    this.variant = data.variants[variantNumber];
    this.start = start;
    this.steps = steps;
    this.title = title;
    this.position = 0;
    this.free = false;
    this.loop = 0;
  }

  static ofScenario(number) {
    const scenario = data.scenarios[number];
    const steps = scenario.path.map(([telling, state]) => ({ telling, state }));
    const path = new Path(scenario.variant, 0, steps, scenario.title);
    path.loop = scenario.loop;
    return path;
  }

  static freeFrom(path) {
    const walk = new Path(path.variantNumber, path.start, path.steps.slice(0, path.position), path.title);
    walk.position = path.position;
    walk.free = true;
    return walk;
  }

  static fromStart(variantNumber) {
    const walk = new Path(variantNumber, 0, [], "Free walk");
    walk.free = true;
    return walk;
  }

  /** The step that led here, or null at the start. */
  get last() {
    return this.position ? this.steps[this.position - 1] : null;
  }

  /** Whether the step that led here fails, so that nothing comes after it. */
  get failed() {
    return this.last !== null && this.last.state === NOWHERE;
  }

  /** The number of the state reached; after a failing step the one before it. */
  get state() {
    return this.stateAt(this.position);
  }

  /** The number of the state after so many steps. */
  stateAt(position) {
    for (let at = position; at > 0; at -= 1) {
      if (this.steps[at - 1].state !== NOWHERE) return this.steps[at - 1].state;
    }
    return this.start;
  }

  /** The number of the state before the last step. */
  get before() {
    if (!this.position || this.failed) return this.state;
    return this.position > 1 ? this.steps[this.position - 2].state : this.start;
  }

  /** Goes to a position, as near as there is one. */
  goTo(position) {
    this.position = Math.min(Math.max(position, 0), this.steps.length);
    if (this.free) this.steps.length = this.position;
  }

  /** Takes a step of the reader's choice. */
  take(step) {
    this.steps.length = this.position;
    this.steps.push(step);
    this.position += 1;
  }

  /** The position at which this path was in a state already, or -1. */
  positionOf(state) {
    if (state === NOWHERE) return -1;
    if (state === this.start) return 0;
    return this.steps.slice(0, this.position).findIndex((step) => step.state === state) + 1 || -1;
  }
}
