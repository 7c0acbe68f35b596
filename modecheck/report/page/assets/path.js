// A path that a reader follows: the plan, which is a scenario's steps, or steps of the reader's own
// choice. Choosing a step other than the planned one leaves the plan; going back far enough
// returns to it. Without a plan every step is the reader's.

const START = 0;

class Path {
  constructor(variantNumber, plan, title, loop = 0) {
    this.variantNumber = variantNumber;
    this.variant = data.variants[variantNumber];
    this.plan = plan;
    this.steps = plan;
    this.title = title;
    this.loop = loop;
    this.position = 0;
    this.left = null;
  }

  static ofScenario(number) {
    const { variant, path, title, loop } = data.scenarios[number];
    return new Path(variant, path.map(([telling, state]) => ({ telling, state })), title, loop);
  }

  static fromStart(variantNumber) {
    return new Path(variantNumber, [], "Free walk");
  }

  /** The step that led here, or null at the start. */
  get last() {
    return this.position ? this.steps[this.position - 1] : null;
  }

  /** The step that the plan takes next, if the path is on it: at the end of a loop its first one. */
  get planned() {
    return this.left === null ? this.plan[this.position] ?? this.plan[this.loop - 1] : undefined;
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
    return START;
  }

  /** The number of the state before the last step. */
  get before() {
    return this.failed ? this.state : this.stateAt(this.position - 1);
  }

  /** Goes to a position, as near as there is one; where the plan was left, it holds again. */
  goTo(position) {
    this.position = Math.min(Math.max(position, 0), this.steps.length);
    if (this.plan.length && this.left !== null && this.position <= this.left) {
      this.left = null;
      this.steps = this.plan;
    }
  }

  /** Takes a possible step: the planned one, or another, which leaves the plan. */
  take(step) {
    if (sameStep(step, this.planned)) {
      this.position = this.position < this.plan.length ? this.position + 1 : this.loop;
      return;
    }
    this.left ??= this.position;
    this.steps = [...this.steps.slice(0, this.position), step];
    this.position += 1;
  }

  /** The position at which this path was in a state already, or -1. */
  positionOf(state) {
    if (state === NOWHERE) return -1;
    if (state === START) return 0;
    return this.steps.slice(0, this.position).findIndex((step) => step.state === state) + 1 || -1;
  }
}

function sameStep(one, other) {
  return other !== undefined && one.telling === other.telling && one.state === other.state;
}
