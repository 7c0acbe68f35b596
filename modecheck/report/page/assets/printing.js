// On paper every scenario has its whole sequence chart, and everything that is folded is open.

const unfolded = [];

function beforePrint() {
  for (const place of document.querySelectorAll("[data-scenario]")) {
    const path = Path.ofScenario(Number(place.dataset.scenario));
    const chart = drawnSequence(path.variant, path, path.steps.length, `Sequence chart: ${path.title}`);
    place.append(html("div", { class: "printed" }, chart));
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
