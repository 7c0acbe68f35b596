// Search: everything on the page that has a name of its own, found by all words that are typed.

const MOST_FOUND = 30;

function searchable() {
  return [...document.querySelectorAll("[data-find]")].map((element) => ({
    text: element.dataset.find,
    key: element.dataset.find.toLowerCase(),
    element,
  })).concat(statesFound());
}

/** States are found in the statechart of their chip. */
function statesFound() {
  return [...document.querySelectorAll("section.chip")].flatMap((section) => {
    const names = [...section.querySelectorAll("[data-state]")].map((box) => box.dataset.state);
    const chip = section.id.slice("chip-".length);
    return [...new Set(names)].map((state) => {
      const text = `state ${chip}.${state}`;
      return { text, key: text.toLowerCase(), element: section };
    });
  });
}

function prepareSearch() {
  const form = document.getElementById("search");
  const input = document.getElementById("search-words");
  let every = null;
  const search = () => {
    every = every || searchable();
    showFound(every, input.value.trim().toLowerCase());
  };
  input.addEventListener("input", search);
  form.addEventListener("submit", (event) => {
    event.preventDefault();
    document.querySelector("#search-found a")?.click();
  });
  form.addEventListener("keydown", (event) => {
    if (event.key !== "Escape") return;
    input.value = "";
    search();
    input.focus();
  });
}

function showFound(every, words) {
  const told = document.getElementById("search-told");
  const list = document.getElementById("search-found");
  const wanted = words.split(/\s+/).filter(Boolean);
  const found = wanted.length ? every.filter((one) => wanted.every((word) => one.key.includes(word))) : [];
  const more = found.length > MOST_FOUND ? `, the first ${MOST_FOUND} are shown` : "";
  told.textContent = wanted.length ? `${found.length} found${more}` : "";
  list.replaceChildren(...found.slice(0, MOST_FOUND).map((one) => html("li", {},
    html("a", { href: `#${encodeURIComponent(one.element.id)}`, onclick: (event) => { event.preventDefault(); reveal(one.element); } },
      own(one.text.slice(0, 160))))));
}
