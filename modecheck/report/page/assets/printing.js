// On paper everything is open that is folded on the screen.

const unfolded = [];

function beforePrint() {
  for (const folded of document.querySelectorAll("details:not([open])")) {
    folded.open = true;
    unfolded.push(folded);
  }
}

function afterPrint() {
  for (const details of unfolded.splice(0)) details.open = false;
}
