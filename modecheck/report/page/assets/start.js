// Starts the page: what needs scripts is shown, and a link into the page opens what it leads to.

/** Shows an element of the page, opened if it is folded, and gives it the focus. */
function reveal(element) {
  for (let around = element; around; around = around.parentElement?.closest("details")) {
    if (around.tagName === "DETAILS") around.open = true;
  }
  if (element.id && decodeURIComponent(location.hash.slice(1)) !== element.id) {
    history.replaceState(null, "", `#${encodeURIComponent(element.id)}`);
  }
  if (!element.hasAttribute("tabindex")) element.setAttribute("tabindex", "-1");
  element.scrollIntoView();
  element.focus({ preventScroll: true });
}

/** `#finding` leads to a finding, `#finding@3` to the third step of its scenario. */
function followLink() {
  const [id, step] = decodedHash().split("@");
  const element = id ? document.getElementById(id) : null;
  if (!element) return;
  reveal(element);
  const opener = step === undefined ? null : element.querySelector("button.open");
  if (!opener) return;
  openStage(pathOf(opener), opener);
  go(Number(step) || 0);
}

function decodedHash() {
  try {
    return decodeURIComponent(location.hash.slice(1));
  } catch {
    return "";
  }
}

document.documentElement.classList.add("scripted");
for (const port of document.querySelectorAll(".viewport")) makeViewport(port);
for (const port of document.querySelectorAll("main .viewport")) fitReadably(port);
for (const chart of document.querySelectorAll("details.chart")) chart.addEventListener("toggle", () => fitReadably(chart.lastElementChild));
prepareStage();
prepareSearch();
window.addEventListener("hashchange", followLink);
window.addEventListener("beforeprint", beforePrint);
window.addEventListener("afterprint", afterPrint);
followLink();
