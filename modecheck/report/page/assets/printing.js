// On paper every scenario has its whole sequence chart, and everything that is folded is open.

const unfolded = [];
const STEPS_ON_PAPER = 7;

function beforePrint() {
  for (const place of document.querySelectorAll("[data-scenario]")) {
    const path = Path.ofScenario(Number(place.dataset.scenario));
    place.append(html("div", { class: "printed" }, ...printedCharts(path)));
  }
  for (const folded of document.querySelectorAll("details:not([open])")) {
    folded.open = true;
    unfolded.push(folded);
  }
}

function afterPrint() {
  for (const printed of document.querySelectorAll(".printed")) printed.remove();
  for (const details of unfolded.splice(0)) details.open = false;
}

/** A long chart goes on in another one, so that it can be read on paper. */
function printedCharts(path) {
  const charts = [];
  for (let from = 0; from < path.steps.length; from += STEPS_ON_PAPER) {
    const to = Math.min(from + STEPS_ON_PAPER, path.steps.length);
    charts.push(drawnPart(path, from, to, `Steps ${from + 1} to ${to}: ${path.title}`));
  }
  return charts;
}
