// A sequence chart in the notation of ITU-T Z.120: an instance's head and its axis, actions as
// boxes, conditions as hexagons, a timeout as an hourglass, lost messages end in a filled dot and
// found ones begin in an open one. Messages wait for their receiver in channels beside its axis.

const LANE = 128;
const HALF = 53;
const MARGIN = 46;
const HEAD = 30;
const TOP = 40;
const SIZE = 11;
const LINE = 13;
const GAP = 8;
const MOST_DRAWN = 40;

/** The chart of a path up to its position, which is marked; of a long path the last steps. */
function drawnSequence(path, title) {
  const from = Math.max(path.position - MOST_DRAWN, 0);
  return drawnPart(path, from, path.position, title, path.position);
}

/** The chart of a part of a path. The lanes are those of the whole path. */
function drawnPart(path, from, to, title, current = NOWHERE) {
  const part = new Path(path.variantNumber, path.stateAt(from), path.steps.slice(from, to), title);
  const chart = chartOf(part.variant, part, from);
  chart.lanes = lanesOf(path.variant, path);
  chart.loop = path.loop;
  return new Pencil(chart, part.start, from).drawn(title, current);
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
  constructor(chart, start, already) {
    this.chart = chart;
    this.start = start;
    this.already = already;
    this.lane = new Map(chart.lanes.map((chip, at) => [chip, at]));
    this.width = MARGIN + chart.lanes.length * LANE + 14;
    this.floor = chart.lanes.map(() => 0);
    this.loopTop = null;
    this.bands = [];
    this.lines = [];
    this.shapes = [];
  }

  drawn(title, current) {
    this.level(TOP + HEAD + 12);
    this.beginnings();
    for (const step of this.chart.steps) this.step(step, (step.until ?? step.number) === current);
    const bottom = Math.max(...this.floor) + 16;
    this.flights(bottom);
    this.loop(bottom);
    const root = svg("svg", {
      class: "sequence", role: "img", viewBox: `0 0 ${this.width} ${bottom + 26}`,
      width: this.width, height: bottom + 26,
    });
    root.append(svg("title", {}, title), svg("rect", { class: "sheet", width: this.width, height: bottom + 26 }));
    root.append(...this.bands, this.frame(bottom + 26), ...this.axes(bottom), ...this.lines, ...this.shapes, this.heads());
    return root;
  }

  x(chip) {
    return MARGIN + this.lane.get(chip) * LANE + LANE / 2;
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

  frame(height) {
    return svg("g", { class: "msc-frame" },
      svg("rect", { x: 0.5, y: 0.5, width: this.width - 1, height: height - 1 }),
      svg("path", { d: "M.5 20.5H34l6 -6V.5" }),
      svg("text", { x: 8, y: 14, class: "strong" }, "msc"),
      this.already ? svg("text", { x: 52, y: 14 }, `from step ${this.already + 1} on`) : null);
  }

  axes(bottom) {
    return this.chart.lanes.map((chip) => {
      const form = this.chart.variant.chips[chip];
      const x = this.x(chip);
      return svg("g", { class: "axis" },
        svg("title", {}, form.name),
        svg("path", { d: `M${x} ${TOP + HEAD}V${bottom}` }),
        svg("rect", { class: "end", x: x - 20, y: bottom, width: 40, height: 6 }));
    });
  }

  heads() {
    const sheet = svg("rect", { class: "sheet", x: 1, y: TOP - 8, width: this.width - 2, height: HEAD + 12 });
    return svg("g", { class: "heads" }, sheet, ...this.chart.lanes.map((chip) => {
      const form = this.chart.variant.chips[chip];
      const x = this.x(chip);
      const [name] = inLines(form.name, SIZE, 2 * HALF - 8, 1);
      return svg("g", { class: form.actor ? "axis actor" : "axis" }, svg("title", {}, form.name),
        svg("rect", { class: "head", x: x - HALF, y: TOP, width: 2 * HALF, height: HEAD }),
        svg("text", { x, y: TOP + 12, class: "small middle" }, form.actor ? "actor" : "chip"),
        svg("text", { x, y: TOP + 25, class: "strong middle" }, name));
    }));
  }

  beginnings() {
    for (const chip of this.chart.lanes) {
      this.condition(this.lane.get(chip), this.lane.get(chip), leafOf(this.chart.variant, this.start, chip));
    }
    const modes = modesOf(this.chart.variant, this.start);
    if (modes.length) this.modes({ text: `mode ${modes.join(", ")}` });
    this.level();
  }

  step(step, isCurrent) {
    const top = this.level() + GAP / 2;
    this.floor.fill(top + GAP / 2);
    for (const item of step.items) this[item.kind](item);
    const bottom = this.level() + GAP / 2;
    const lanes = step.items.flatMap((item) => this.lanesAt(item)).map((chip) => this.x(chip));
    const band = svg("g", {
      class: isCurrent ? "band now" : "band", "data-step": step.number,
      "data-left": Math.min(...lanes, this.width) - HALF, "data-right": Math.max(...lanes, 0) + HALF,
    },
      svg("rect", { x: 1, y: top, width: this.width - 2, height: bottom - top }),
      svg("path", { d: `M1 ${top}H${this.width - 1}` }),
      svg("text", { x: 12, y: top + 16, class: "strong" }, `${step.number}${step.until ? `-${step.until}` : ""}${isCurrent ? " ◂" : ""}`));
    this.bands.push(band);
    if (step.number === this.chart.loop) this.loopTop = top;
    this.floor.fill(bottom);
  }

  lanesAt(item) {
    if ("queue" in item) {
      const { from, to } = this.chart.variant.queues[item.queue];
      return item.kind === "sent" ? [from, to] : [to];
    }
    return "chip" in item ? [item.chip, ...(item.heard || [])] : [];
  }

  box(chip, lines, kind, hint) {
    const at = this.lane.get(chip);
    const height = lines.length * LINE + 8;
    const top = this.room(at, at, height + 6);
    const x = this.x(chip);
    this.shapes.push(svg("g", { class: kind }, svg("title", {}, hint),
      svg("rect", { x: x - HALF, y: top, width: 2 * HALF, height }),
      ...lines.map((line, row) => svg("text", { x, y: top + 15 + row * LINE - 1, class: "middle" }, line))));
  }

  action(item) {
    const lines = item.text ? inLines(item.text, SIZE, 2 * HALF - 8, 5) : [];
    for (const note of item.notes) lines.push(...inLines(note, SIZE, 2 * HALF - 8, 2));
    if (lines.length) this.box(item.chip, lines, "action", [item.text, ...item.notes].join("\n"));
  }

  struck(item) {
    const lines = inLines(`✕ ${item.text}`, SIZE, 2 * HALF - 10, 4);
    for (const note of item.notes) lines.push(...inLines(note, SIZE, 2 * HALF - 10, 2));
    this.box(item.chip, lines, "struck", [item.text, ...item.notes].join("\n"));
  }

  state(item) {
    this.condition(this.lane.get(item.chip), this.lane.get(item.chip), item.text);
  }

  modes(item) {
    this.condition(0, this.chart.lanes.length - 1, item.text, "condition mode");
  }

  failure(item) {
    this.level();
    const last = this.chart.lanes.length - 1;
    const lines = inLines(`✕ ${item.text}`, SIZE, this.width - MARGIN - 40, 3);
    const top = this.room(0, last, lines.length * LINE + 14);
    this.shapes.push(svg("g", { class: "failure" },
      svg("rect", { x: MARGIN + 6, y: top, width: this.width - MARGIN - 20, height: lines.length * LINE + 8 }),
      ...lines.map((line, row) => svg("text", { x: MARGIN + 16, y: top + 14 + row * LINE }, line))));
  }

  condition(from, to, text, kind = "condition") {
    const top = this.room(from, to, 27);
    const left = MARGIN + from * LANE + LANE / 2 - HALF;
    const right = MARGIN + to * LANE + LANE / 2 + HALF;
    const [line] = inLines(text, SIZE, right - left - 24, 1);
    this.shapes.push(svg("g", { class: kind }, svg("title", {}, text),
      svg("path", { d: `M${left} ${top + 11}l9 -11H${right - 9}l9 11l-9 11H${left + 9}Z` }),
      svg("text", { x: (left + right) / 2, y: top + 15, class: "middle" }, line)));
  }

  timeout(item) {
    const at = this.lane.get(item.chip);
    const top = this.room(at, at, 28);
    const x = this.x(item.chip);
    this.shapes.push(svg("g", { class: "timer" },
      svg("path", { d: `M${x - 46} ${top + 2}h14l-14 18h14Z` }),
      svg("path", { d: `M${x - 39} ${top + 11}H${x - 7}` }),
      tip(x, top + 11, 1),
      svg("text", { x: x + 6, y: top + 15, class: "halo" }, inLines(item.text, SIZE, 54, 1)[0])));
  }

  signal(item) {
    const lanes = [item.chip, ...item.heard].map((chip) => this.lane.get(chip));
    const [low, high] = [Math.min(...lanes), Math.max(...lanes)];
    const y = this.room(low, low === high ? low : high, 26) + 18;
    const x = this.x(item.chip);
    const parts = item.heard.flatMap((chip) => {
      const to = this.x(chip);
      return [tip(to, y, to > x ? 1 : -1, true)];
    });
    const line = svg("path", { d: `M${this.center(low)} ${y}H${this.center(high)}` });
    const alone = !item.heard.length;
    const toRight = alone || this.lane.get(item.heard[0]) > this.lane.get(item.chip);
    const text = alone ? `${item.text}: nobody reacts` : item.text;
    this.lines.push(svg("g", { class: "signal" }, alone ? svg("circle", { cx: x, cy: y, r: 3 }) : line, ...parts));
    this.label(x, y, toRight, text);
  }

  center(lane) {
    return MARGIN + lane * LANE + LANE / 2;
  }

  label(x, y, toRight, text, room = LANE - 14) {
    const [line] = inLines(text, SIZE, room, 1);
    this.shapes.push(svg("text", {
      x: toRight ? x + 6 : x - 6, y: y - 4, class: toRight ? "halo" : "halo last",
    }, svg("title", {}, text), line));
  }

  /** Where messages of a link wait: in the gutter at that side of the receiver where they come from. */
  channel(queue) {
    const { from, to } = this.chart.variant.queues[queue];
    const side = this.lane.get(from) < this.lane.get(to) ? -1 : 1;
    return this.x(to) + side * (HALF + 4 + 4.5 * (queue % 3));
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
    const y = this.room(this.lane.get(from), this.lane.get(to), 26) + 18;
    const end = this.channel(item.queue);
    item.y = y;
    this.lines.push(svg("path", { class: "message", d: `M${this.x(from)} ${y}H${end}` }));
    this.label(this.x(from), y, end > this.x(from), item.text);
  }

  joined(item) {
    this.sent(item);
    this.lines.push(svg("circle", { class: "joint", cx: this.channel(item.queue), cy: item.y, r: 3 }));
  }

  unsent(item) {
    const { from, to } = this.chart.variant.queues[item.queue];
    const toRight = this.lane.get(to) > this.lane.get(from);
    const at = this.lane.get(from);
    const beside = Math.min(Math.max(at + (toRight ? 1 : -1), 0), this.chart.lanes.length - 1);
    const y = this.room(at, beside, 26) + 18;
    const end = this.x(from) + (toRight ? 52 : -52);
    this.lines.push(svg("g", { class: "message" }, svg("path", { d: `M${this.x(from)} ${y}H${end}` }),
      svg("circle", { class: "lost", cx: end, cy: y, r: 4.5 })));
    this.label(this.x(from), y, toRight, item.text, LANE + 30);
  }

  doubled(item) {
    const [at, beside] = this.landing(item.queue);
    item.y = this.room(at, beside, 24) + 12;
    const x = this.channel(item.queue);
    this.lines.push(svg("circle", { class: "found", cx: x, cy: item.y, r: 4.5 }));
    this.label(x, item.y, x < this.x(this.chart.variant.queues[item.queue].to), item.text, 60);
  }

  arrived(item) {
    const [at, beside] = this.landing(item.queue);
    const y = this.room(at, beside, 26) + 18;
    const start = this.channel(item.queue);
    const x = this.center(at);
    const ahead = x > start ? 1 : -1;
    item.y = y;
    const refused = item.outcome === "unhandled";
    const mark = refused
      ? svg("path", { class: "cross", d: `M${x - ahead * 14} ${y - 5}l10 10m0 -10l-10 10` })
      : tip(x, y, ahead);
    this.lines.push(svg("g", { class: "message" }, svg("path", { d: `M${start} ${y}H${x}` }), mark));
    const said = { ignored: " (ignored)", unhandled: " (no answer)" }[item.outcome] || "";
    this.label(x, y, ahead < 0, `${item.text}${said}`, LANE - 20);
  }

  gone(item) {
    const [at, beside] = this.landing(item.queue);
    item.y = this.room(at, beside, 24) + 14;
    const x = this.channel(item.queue);
    this.lines.push(svg("circle", { class: "lost", cx: x, cy: item.y, r: 4.5 }));
    this.label(x, item.y + 8, x < this.center(at), `${item.flight.text}: ${item.text}`, 62 + LANE / 2);
  }

  /** The frame around steps that repeat, an inline expression marked `loop`. */
  loop(bottom) {
    const { loop, steps } = this.chart;
    if (!loop || !steps.some((step) => step.number >= loop)) return;
    const top = this.loopTop === null ? TOP + HEAD + 6 : this.loopTop + 2;
    const left = MARGIN - 20;
    this.shapes.push(svg("g", { class: "loop" },
      svg("rect", { x: left, y: top, width: this.width - left - 8, height: bottom - top - 10 }),
      svg("path", { d: `M${left} ${top + 18}h34l6 -6V${top}` }),
      svg("text", { x: left + 7, y: top + 13, class: "strong" }, "loop")));
  }

  /** The way of each message down its channel, or to the end of the chart. */
  flights(bottom) {
    for (const flight of this.chart.flights) {
      if (!this.lane.has(this.chart.variant.queues[flight.queue].to)) continue;
      const x = this.channel(flight.queue);
      const found = flight.from.kind === "found";
      const top = found ? TOP + HEAD + 8 : flight.from.y;
      if (found) this.lines.push(svg("circle", { class: "found", cx: x, cy: top, r: 4.5 }));
      const end = flight.to ? flight.to.y : bottom - 4;
      this.lines.push(svg("path", { class: flight.to ? "message" : "message waiting", d: `M${x} ${top}V${end}` }));
      if (!flight.to) this.shapes.push(svg("text", { class: "small halo middle", x, y: bottom + 4 }, "under way"));
    }
  }
}

/** The tip of an arrow at a point, pointing to the right (1) or to the left (-1). */
function tip(x, y, ahead, isOpen = false) {
  const back = x - ahead * 8;
  return svg("path", { class: isOpen ? "open-tip" : "tip", d: `M${back} ${y - 4}L${x} ${y}L${back} ${y + 4}${isOpen ? "" : "Z"}` });
}
