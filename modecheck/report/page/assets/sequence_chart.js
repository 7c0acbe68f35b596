// A sequence chart in the notation of ITU-T Z.120, with the signs and the style sheet of the drawn
// ones: hexagons name states, boxes tell what a chip does, an hourglass is a timer that ran out.
// Where a message waits, its line runs down beside the lane that it is for; a dot ends the line of
// one that is gone, a ring begins that of one that was there before. What begins a step is at the left.

const LANE = 128;
const HALF = 58;
const LEAST_MARGIN = 40;
const TOP = 8;
const HEAD = 24;
const SIZE = 10.5;
const LINE = 13;
const GAP = 8;
const DOT = 4.5;
const BEND = 8;
const MOST_DRAWN = 40;

/** The chart of a path up to its position, which is marked; of a long path the last steps. */
function drawnSequence(path, title) {
  const from = Math.max(path.position - MOST_DRAWN, 0);
  return drawnPart(path, from, path.position, title, path.position);
}

/** The chart of a part of a path. The lanes are those of the whole path and of its plan. */
function drawnPart(path, from, to, title, current = NOWHERE) {
  const loop = path.left === null ? path.loop : 0;
  const part = new Path(path.variantNumber, path.stateAt(from), path.steps.slice(from, to), title, loop);
  const chart = chartOf(part.variant, part, from);
  chart.lanes = lanesOf(path.variant, [...path.plan, ...path.steps]);
  return new Pencil(chart, part, from).drawn(title, current);
}

/** Keeps the heads of the lanes in sight while a chart is scrolled. */
function keepHeadsInSight(port) {
  const picture = port.querySelector("svg.sequence");
  if (!picture) return;
  const zoom = picture.getBoundingClientRect().width / picture.viewBox.baseVal.width || 1;
  const hidden = Math.max(port.scrollTop / zoom - TOP + 4, 0);
  picture.querySelector(".heads").setAttribute("transform", `translate(0 ${hidden})`);
}

/** Shows the current step: its end at the bottom, and what happens in it from left to right. */
function showCurrentBand(port) {
  const now = port.querySelector(".band.now");
  port.scrollTop = now ? port.scrollHeight : 0;
  if (now) {
    const zoom = port.querySelector("svg").getBoundingClientRect().width / port.querySelector("svg").viewBox.baseVal.width;
    const [left, right] = [Number(now.dataset.left) * zoom, Number(now.dataset.right) * zoom];
    if (left < port.scrollLeft || right > port.scrollLeft + port.clientWidth) {
      port.scrollLeft = Math.min(left - 12, (left + right - port.clientWidth) / 2);
    }
  }
  keepHeadsInSight(port);
}

class Pencil {
  constructor(chart, part, already) {
    this.chart = chart;
    this.start = part.start;
    this.loopFrom = part.loop;
    this.already = already;
    this.lane = new Map(chart.lanes.map((chip, at) => [chip, at]));
    this.margin = Math.max(LEAST_MARGIN, ...chart.variant.modes.map((mode) => Math.min(widthOf(`mode ${mode}`, SIZE, true), LANE) - 16));
    this.width = this.margin + chart.lanes.length * LANE + 14;
    this.floor = chart.lanes.map(() => 0);
    this.loopTop = null;
    this.bands = [];
    this.lines = [];
    this.shapes = [];
  }

  drawn(title, current) {
    this.level(TOP + HEAD + 6);
    this.beginnings();
    for (const step of this.chart.steps) this.step(step, (step.until ?? step.number) === current);
    const bottom = this.level() + 12;
    this.flights(bottom);
    this.loop(bottom);
    const height = bottom + 18;
    const root = svg("svg", {
      class: "drawing sequence", role: "img", viewBox: `0 0 ${this.width} ${height}`, width: this.width, height,
    });
    root.append(svg("title", {}, title), svg("rect", { class: "ground-0", width: this.width, height }));
    root.append(...this.bands, ...this.axes(bottom), ...this.lines, ...this.shapes, this.heads());
    return root;
  }

  x(chip) {
    return this.center(this.lane.get(chip));
  }

  center(lane) {
    return this.margin + lane * LANE + LANE / 2;
  }

  /** Room of a height for lanes `from` to `to`; its upper border. */
  room(from, to, height) {
    const [low, high] = from < to ? [from, to] : [to, from];
    let top = 0;
    for (let at = low; at <= high; at += 1) top = Math.max(top, this.floor[at]);
    for (let at = low; at <= high; at += 1) this.floor[at] = top + height;
    return top;
  }

  level(least = 0) {
    const top = Math.max(least, ...this.floor);
    this.floor.fill(top);
    return top;
  }

  axes(bottom) {
    return this.chart.lanes.map((chip) => svg("g", { class: "lane" },
      svg("path", { class: "axis", d: `M${this.x(chip)} ${TOP + HEAD}V${bottom}` }),
      svg("rect", { class: "start", x: this.x(chip) - 16, y: bottom, width: 32, height: 6 })));
  }

  heads() {
    const ground = svg("rect", { class: "ground-0", x: 1, width: this.width - 2, height: TOP + HEAD + 4 });
    return svg("g", { class: "heads" }, ground, ...this.chart.lanes.map((chip) => {
      const { name, actor } = this.chart.variant.chips[chip];
      const [line] = inLines(name, 12.5, 2 * HALF - 24, 1);
      const half = widthOf(line, 12.5, true) / 2 + 12;
      return svg("g", { class: actor ? "player" : "head" }, svg("title", {}, `${actor ? "actor" : "chip"} ${name}`),
        svg("rect", { class: "outline", x: this.x(chip) - half, y: TOP, width: 2 * half, height: HEAD, rx: actor ? 12 : 2 }),
        words(this.x(chip), TOP + 16.5, line, "name middle"));
    }));
  }

  beginnings() {
    for (const chip of this.chart.lanes) this.state({ chip, text: leafOf(this.chart.variant, this.start, chip) });
    const now = modesOf(this.chart.variant, this.start).join(", ");
    if (now) this.aside({ text: `mode ${now}` });
    if (this.already) this.aside({ text: `from step ${this.already + 1} on` });
    this.level();
  }

  step(step, isCurrent) {
    const top = this.level() + GAP / 2;
    this.floor.fill(top + GAP / 2);
    this.asideFrom = top + 22;
    for (const item of step.items) this[item.kind](item);
    const bottom = this.level(this.asideFrom) + GAP / 2;
    const lanes = step.items.flatMap((item) => this.lanesAt(item)).map((chip) => this.x(chip));
    this.bands.push(svg("g", {
      class: isCurrent ? "band now" : "band", "data-step": step.number,
      "data-left": Math.min(...lanes, this.width) - HALF, "data-right": Math.max(...lanes, 0) + HALF,
    },
      svg("rect", { x: 1, y: top, width: this.width - 2, height: bottom - top }),
      svg("path", { class: "cut", d: `M8 ${top}H${this.width - 8}` }),
      words(12, top + 17, `${step.number}${step.until ? `-${step.until}` : ""}${isCurrent ? " ◂" : ""}`, "name")));
    if (step.number === this.loopFrom) this.loopTop = top;
    this.floor.fill(bottom);
  }

  lanesAt(item) {
    if ("queue" in item) {
      const { from, to } = this.chart.variant.queues[item.queue];
      return item.kind === "sent" ? [from, to] : [to];
    }
    return "chip" in item ? [item.chip, ...(item.heard || [])] : [];
  }

  /** A sign on a chip's lane, as wide as its lines of words. */
  box(chip, lines, kind, hint) {
    const at = this.lane.get(chip);
    const height = lines.length * LINE + 6;
    const top = this.room(at, at, height + 5);
    const half = Math.max(...lines.map((line) => widthOf(line, SIZE))) / 2 + 7;
    this.shapes.push(svg("g", { class: kind }, svg("title", {}, hint),
      svg("rect", { class: "outline", x: this.x(chip) - half, y: top, width: 2 * half, height }),
      ...lines.map((line, row) => words(this.x(chip), top + 13 + row * LINE, line, "effect middle"))));
  }

  action(item) {
    const lines = item.text ? inLines(item.text, SIZE, 2 * HALF - 14, 5) : [];
    for (const note of item.notes) lines.push(...inLines(note, SIZE, 2 * HALF - 14, 2));
    if (lines.length) this.box(item.chip, lines, "action", [item.text, ...item.notes].join("\n"));
  }

  struck(item) {
    const lines = inLines(`✕ ${item.text}`, SIZE, 2 * HALF - 16, 4);
    for (const note of item.notes) lines.push(...inLines(note, SIZE, 2 * HALF - 16, 2));
    this.box(item.chip, lines, "notice struck", [item.text, ...item.notes].join("\n"));
  }

  state(item) {
    const at = this.lane.get(item.chip);
    const top = this.room(at, at, 23);
    const [line] = inLines(item.text, SIZE, 2 * HALF - 32, 1);
    const half = widthOf(line, SIZE, true) / 2 + 12;
    const [left, right] = [this.x(item.chip) - half, this.x(item.chip) + half];
    this.shapes.push(svg("g", { class: "condition" }, svg("title", {}, item.text),
      svg("path", { class: "outline", d: `M${left} ${top + 9}l9 -9H${right - 9}l9 9l-9 9H${left + 9}Z` }),
      words(this.x(item.chip), top + 12.8, line, "trigger middle")));
  }

  /** What holds for no lane alone: modes, the passing of time; at the left, under the step's number. */
  aside(item) {
    const lines = inLines(item.text, SIZE, this.margin + LANE / 2 - 20, 4);
    const top = Math.max(this.level(), this.asideFrom ?? 0);
    this.shapes.push(svg("g", { class: "aside" }, ...lines.map((line, row) => words(12, top + 10 + row * LINE, line, "trigger halo"))));
    this.floor.fill(top + lines.length * LINE + 4);
  }

  failure(item) {
    this.level();
    const lines = inLines(`✕ ${item.text}`, SIZE, this.width - this.margin - 40, 3);
    const top = this.room(0, this.chart.lanes.length - 1, lines.length * LINE + 14);
    this.shapes.push(svg("g", { class: "failure" },
      svg("rect", { x: this.margin + 6, y: top, width: this.width - this.margin - 20, height: lines.length * LINE + 8 }),
      ...lines.map((line, row) => words(this.margin + 16, top + 14 + row * LINE, line, "trigger"))));
  }

  timeout(item) {
    const at = this.lane.get(item.chip);
    const top = this.room(at, at, 20);
    const x = this.x(item.chip);
    this.shapes.push(svg("g", { class: "timer" },
      svg("path", { class: "figure", d: `M${x - 24} ${top + 2}h9l-9 12h9Z` }),
      svg("path", { class: "line", d: `M${x - 15} ${top + 8}H${x - 8}` }), tip(x, top + 8, 1),
      words(x - 28, top + 5, inLines(item.text, SIZE, HALF - 30, 1)[0], "trigger halo last")));
  }

  /** An arrow to each chip that reacts, or a box if none does. */
  signal(item) {
    if (!item.heard.length) {
      this.box(item.chip, inLines(`${item.text}: no reaction`, SIZE, 2 * HALF - 14, 3), "action unheard", item.text);
      return;
    }
    const lanes = [item.chip, ...item.heard].map((chip) => this.lane.get(chip));
    const [low, high] = [Math.min(...lanes), Math.max(...lanes)];
    const y = this.room(low, high, 24) + 17;
    const x = this.x(item.chip);
    this.lines.push(svg("g", { class: "signal" }, svg("path", { class: "line", d: `M${this.center(low)} ${y}H${this.center(high)}` }),
      ...item.heard.map((chip) => tip(this.x(chip), y, this.x(chip) > x ? 1 : -1, true))));
    this.label(x, y, this.x(item.heard[0]) > x, item.text, "effect");
  }

  label(x, y, toRight, text, face, room = LANE - 14) {
    const [line] = inLines(text, SIZE, room, 1);
    const label = words(toRight ? x + 6 : x - 6, y - 5, line, `${face} halo${toRight ? "" : " last"}`);
    label.prepend(svg("title", {}, text));
    this.shapes.push(label);
  }

  /** Where messages of a link wait: in the gutter at that side of the receiver where they come from. */
  channel(queue) {
    const { from, to } = this.chart.variant.queues[queue];
    const side = this.lane.get(from) < this.lane.get(to) ? -1 : 1;
    return this.x(to) + side * (HALF + 2 + 4.5 * (queue % 3));
  }

  /** The lanes beside a receiver's axis up to and with the channel's other neighbour. */
  landing(queue) {
    const { from, to } = this.chart.variant.queues[queue];
    const at = this.lane.get(to);
    const side = this.lane.get(from) < at ? -1 : 1;
    return [at, Math.min(Math.max(at + side, 0), this.chart.lanes.length - 1)];
  }

  sent(item) {
    const { from, to } = this.chart.variant.queues[item.queue];
    item.y = this.room(this.lane.get(from), this.lane.get(to), 24) + 17;
    this.label(this.x(from), item.y, this.channel(item.queue) > this.x(from), item.text, "trigger");
  }

  joined(item) {
    this.sent(item);
    const { from } = this.chart.variant.queues[item.queue];
    const end = this.channel(item.queue);
    this.message(item.queue, [[this.x(from), item.y], [end, item.y]]);
    this.lines.push(svg("circle", { class: "start joint", cx: end, cy: item.y, r: 3 }));
  }

  unsent(item) {
    const { from, to } = this.chart.variant.queues[item.queue];
    const toRight = this.lane.get(to) > this.lane.get(from);
    const at = this.lane.get(from);
    const beside = Math.min(Math.max(at + (toRight ? 1 : -1), 0), this.chart.lanes.length - 1);
    const y = this.room(at, beside, 24) + 17;
    const end = this.x(from) + (toRight ? 52 : -52);
    this.message(item.queue, [[this.x(from), y], [end, y]], this.dot(end, y));
    this.label(this.x(from), y, toRight, item.text, "trigger", LANE + 30);
  }

  doubled(item) {
    const [at, beside] = this.landing(item.queue);
    item.y = this.room(at, beside, 24) + 12;
    const x = this.channel(item.queue);
    this.label(x, item.y, x < this.x(this.chart.variant.queues[item.queue].to), item.text, "effect", 60);
  }

  arrived(item) {
    const [at, beside] = this.landing(item.queue);
    item.y = this.room(at, beside, 24) + 17;
    const said = { discarded: " (discarded)", unspecified: " (no answer)" }[item.outcome] || "";
    this.label(this.center(at), item.y, this.channel(item.queue) > this.center(at), `${item.text}${said}`, "trigger", LANE - 20);
  }

  gone(item) {
    const [at, beside] = this.landing(item.queue);
    item.y = this.room(at, beside, 24) + 14;
    const x = this.channel(item.queue);
    this.label(x, item.y + 8, x < this.center(at), `${item.flight.text}: ${item.text}`, "effect", 62 + LANE / 2);
  }

  /** The frame around steps that repeat, an inline expression marked `loop`. */
  loop(bottom) {
    if (!this.loopFrom || !this.chart.steps.some((step) => step.number >= this.loopFrom)) return;
    const top = this.loopTop === null ? TOP + HEAD + 6 : this.loopTop + 2;
    this.shapes.push(svg("g", { class: "loop" },
      svg("rect", { x: 5, y: top, width: this.width - 10, height: bottom - top - 4 }),
      svg("path", { d: `M${this.width - 5} ${top + 18}h-38l-6 -6V${top}` }),
      words(this.width - 38, top + 13, "loop", "trigger")));
  }

  /** The way of each message: across to its channel, down in it, and across to the receiver. */
  flights(bottom) {
    for (const { queue, from, to } of this.chart.flights) {
      const link = this.chart.variant.queues[queue];
      if (!this.lane.has(link.to)) continue;
      const x = this.channel(queue);
      const y = from.y ?? TOP + HEAD + 8;
      const way = from.kind === "sent" ? [[this.x(link.from), y], [x, y]] : [[x, y]];
      const marks = from.kind === "sent" ? [] : [svg("circle", { class: "ring found", cx: x, cy: y, r: DOT })];
      if (to) way.push([x, to.y]);
      if (to?.kind === "gone") marks.push(this.dot(x, to.y));
      if (to?.kind === "arrived") {
        way.push([this.x(link.to), to.y]);
        marks.push(arrival(to, this.x(link.to), this.x(link.to) > x ? 1 : -1));
      }
      if (!to) {
        way.push([x, bottom - 2]);
        this.shapes.push(words(x, bottom + 10, "in flight", "note halo middle"));
      }
      this.message(queue, way, ...marks);
    }
  }

  message(queue, way, ...marks) {
    this.lines.push(svg("g", { class: `arrow ${this.chart.variant.queues[queue].stroke}` }, svg("path", { class: "line", d: bent(way) }), ...marks));
  }

  dot(x, y) {
    return svg("circle", { class: "start lost", cx: x, cy: y, r: DOT });
  }
}

/** The end of a message at a receiver's axis: the tip of an arrow, or a cross where it has no answer. */
function arrival({ outcome, y }, x, ahead) {
  return outcome === "unspecified" ? svg("path", { class: "cross", d: `M${x - ahead * 14} ${y - 5}l10 10m0 -10l-10 10` }) : tip(x, y, ahead);
}

/** The tip of an arrow at a point, pointing to the right (1) or to the left (-1). */
function tip(x, y, ahead, isOpen = false) {
  const back = x - ahead * 8;
  return svg("path", { class: isOpen ? "open" : "tip", d: `M${back} ${y - 4}L${x} ${y}L${back} ${y + 4}${isOpen ? "" : "Z"}` });
}

function words(x, y, line, faces) {
  return svg("text", { x, y, class: faces }, line);
}

/** A way through points, of which each turns a right angle, with round bends. */
function bent(points) {
  const parts = points.slice(1, -1).map((point, at) => {
    const [before, after] = [towards(point, points[at]), towards(point, points[at + 2])];
    return `L${before}Q${point} ${after}`;
  });
  return `M${points[0]}${parts.join("")}L${points.at(-1)}`;
}

function towards([x, y], [toX, toY]) {
  const far = Math.hypot(toX - x, toY - y);
  const part = far ? Math.min(BEND, far / 2) / far : 0;
  return [x + (toX - x) * part, y + (toY - y) * part];
}
