// Live updates, filter and keys. Every page reads without it.
"use strict";

const main = document.getElementById("main");
const keys = document.getElementById("keys");

// --- filter -----------------------------------------------------------------

const wanted = { text: "", odd: false };

function filter() {
  const table = main.querySelector("table.verdicts");
  if (!table) return;
  let shown = 0, all = 0;
  for (const body of table.tBodies) {
    let here = 0;
    for (const row of body.querySelectorAll("tr[data-row]")) {
      const fits = row.textContent.toLowerCase().includes(wanted.text) && (!wanted.odd || "odd" in row.dataset);
      row.hidden = !fits;
      here += fits ? 1 : 0;
      all += 1;
    }
    body.hidden = here === 0;
    shown += here;
  }
  const count = main.querySelector("[data-filter-count]");
  if (count) count.textContent = shown === all ? "" : `${shown} of ${all} rows`;
}

function bindFilter() {
  const box = main.querySelector("[data-filter]");
  if (!box) return;
  box.hidden = false;
  const text = box.querySelector("[data-filter-text]");
  const odd = box.querySelector("[data-filter-odd]");
  text.value = wanted.text;
  odd.checked = wanted.odd;
  text.addEventListener("input", () => { wanted.text = text.value.trim().toLowerCase(); filter(); });
  odd.addEventListener("change", () => { wanted.odd = odd.checked; filter(); });
  filter();
}

// --- live updates -----------------------------------------------------------

// The new page takes the place of the old one; what was open, focused and filtered stays so.
function replace(text) {
  const fresh = new DOMParser().parseFromString(text, "text/html").getElementById("main");
  if (!fresh) return;
  const open = [...main.querySelectorAll("details[open]")].map((d) => d.id);
  const focused = main.contains(document.activeElement) ? document.activeElement.id : "";
  const old = new Map([...main.querySelectorAll("tr[data-row] td.reading")].map((c) => [place(c), c.textContent]));
  main.replaceChildren(...fresh.childNodes);
  main.dataset.version = fresh.dataset.version;
  for (const id of open) document.getElementById(id)?.setAttribute("open", "");
  for (const cell of main.querySelectorAll("tr[data-row] td.reading")) {
    const before = old.get(place(cell));
    if (before !== undefined && before !== cell.textContent) cell.classList.add("changed");
  }
  bindFilter();
  if (focused) document.getElementById(focused)?.focus({ preventScroll: true });
}

function place(cell) {
  return cell.parentElement.querySelector("th").textContent + cell.dataset.name;
}

async function beat() {
  if (document.hidden) return;
  try {
    const answer = await fetch(main.dataset.pulse);
    if (!answer.ok) return;
    const [version, words] = (await answer.text()).split("\n");
    for (const p of main.querySelectorAll("[data-progress]")) if (words) p.textContent = words;
    if (version === main.dataset.version) return;
    const page = await fetch(location.pathname);
    const typing = document.activeElement?.matches?.("[data-filter-text]");
    replace(await page.text());
    if (typing) main.querySelector("[data-filter-text]")?.focus();
  } catch {
    // The bench was closed; the page stays readable.
  }
}

// --- keys -------------------------------------------------------------------

function rows() {
  return [...document.querySelectorAll("[data-row]")].filter((r) => r.checkVisibility());
}

function move(step) {
  const list = rows();
  if (list.length === 0) return;
  const index = list.indexOf(document.activeElement.closest("[data-row]"));
  const next = index < 0 ? (step > 0 ? 0 : list.length - 1) : Math.min(Math.max(index + step, 0), list.length - 1);
  list[next].focus();
  list[next].scrollIntoView({ block: "nearest" });
}

function key(event) {
  if (event.ctrlKey || event.altKey || event.metaKey) return;
  const text = main.querySelector("[data-filter-text]");
  if (event.key === "Escape" && text && !keys.open) {
    wanted.text = ""; wanted.odd = false;
    text.value = ""; text.blur();
    main.querySelector("[data-filter-odd]").checked = false;
    filter();
    return;
  }
  const typing = document.activeElement === text;
  if (event.key === "ArrowDown" || event.key === "ArrowUp") {
    if (keys.open) return;
    move(event.key === "ArrowDown" ? 1 : -1);
    event.preventDefault();
    return;
  }
  if (typing || keys.open) return;
  switch (event.key) {
    case "Enter": {
      const next = main.querySelector(".next a");
      if (!next || document.activeElement !== document.body) return;
      next.click();
      break;
    }
    case "?": keys.showModal(); break;
    case "/": if (!text) return; text.focus(); break;
    case "o": {
      const odd = main.querySelector("[data-filter-odd]");
      if (!odd) return;
      odd.checked = wanted.odd = !wanted.odd;
      filter();
      break;
    }
    case "e": {
      const unread = document.getElementById("unread");
      if (!unread) return;
      unread.open = !unread.open;
      unread.querySelector("summary").focus();
      break;
    }
    case "n": case "p": case "b": {
      const link = document.querySelector(`a[data-key="${event.key}"]`);
      if (!link) return;
      link.click();
      break;
    }
    default: return;
  }
  event.preventDefault();
}

document.addEventListener("keydown", key);
document.querySelector('a[data-key="?"]').addEventListener("click", (event) => { event.preventDefault(); keys.showModal(); });
bindFilter();
if (main.dataset.pulse) setInterval(beat, 1000);
