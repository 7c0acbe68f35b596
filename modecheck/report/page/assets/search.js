// Search: everything on the page that has a name of its own, found by all words that are typed.

const MOST_FOUND = 30;

function searchable() {
  return data.index.map(([text, anchor]) => ({ text, key: text.toLowerCase(), anchor }));
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
    html("a", { href: `#${encodeURIComponent(one.anchor)}`, onclick: (event) => { event.preventDefault(); reveal(document.getElementById(one.anchor)); } },
      own(one.text.slice(0, 160))))));
}
