// Live updates, quick entry, filter and keys. Every page reads and takes entries without it.
import { bindForms } from "./entry.js";
import { bindMap } from "./map.js";
import { bindProbe } from "./probe.js";
import { bindSheet } from "./sheet.js";
import { bindSignals } from "./signals.js";

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
  const active = main.contains(document.activeElement) ? document.activeElement : null;
  const focused = active ? active.id : "";
  // A form that somebody is filling stays as it is.
  for (const form of fresh.querySelectorAll("[data-keep]")) {
    const name = form.getAttribute("id"); // `form.id` would be its field of that name
    const mine = name && document.getElementById(name);
    if (!mine || !(mine.contains(active) || mine.dataset.touched)) continue;
    // What is told beside the same step may be newer.
    const told = form.querySelector("[data-fresh]"), before = mine.querySelector("[data-fresh]");
    if (told && before && told.dataset.fresh === before.dataset.fresh) before.replaceChildren(...told.childNodes);
    form.replaceWith(mine);
  }
  const old = new Map([...main.querySelectorAll("tr[data-row] td.reading")].map((c) => [place(c), c.textContent]));
  main.replaceChildren(...fresh.childNodes);
  main.dataset.version = fresh.dataset.version;
  for (const id of open) document.getElementById(id)?.setAttribute("open", "");
  for (const cell of main.querySelectorAll("tr[data-row] td.reading")) {
    const before = old.get(place(cell));
    if (before !== undefined && before !== cell.textContent) cell.classList.add("changed");
  }
  bindFilter();
  bindForms(main);
  bindProbe(main);
  bindMap(main);
  bindSignals(main);
  if (active?.isConnected) active.focus({ preventScroll: true });
  else if (focused) document.getElementById(focused)?.focus({ preventScroll: true });
}

function place(cell) {
  return cell.parentElement.querySelector("th").textContent + cell.dataset.name;
}

let beating = false, again = false;

async function beat() {
  if (!main.dataset.pulse || document.hidden) return;
  if (beating) { again = true; return; }
  beating = true;
  try {
    const answer = await fetch(main.dataset.pulse);
    if (!answer.ok) return;
    const [version, words] = (await answer.text()).split("\n");
    for (const p of main.querySelectorAll("[data-progress]")) if (words) p.textContent = words;
    if (version === main.dataset.version) return;
    const page = await fetch(location.pathname + location.search);
    const typing = document.activeElement?.matches?.("[data-filter-text]");
    replace(await page.text());
    if (typing) main.querySelector("[data-filter-text]")?.focus();
  } catch {
    // The bench was closed; the page stays readable.
  } finally {
    beating = false;
    if (again) { again = false; beat(); }
  }
}

// One line is held open while the page is seen; browsers allow only a few to one address.
let line = null;

function listen() {
  if (document.hidden || !main.dataset.pulse) { line?.close(); line = null; return; }
  if (line) return;
  line = new EventSource("/changes");
  line.onmessage = beat;
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
  if (event.key === "Escape" && document.activeElement.closest("form")) { document.activeElement.blur(); return; }
  if (event.key === "Escape" && text && !keys.open) {
    wanted.text = ""; wanted.odd = false;
    text.value = ""; text.blur();
    main.querySelector("[data-filter-odd]").checked = false;
    filter();
    return;
  }
  const typing = document.activeElement.matches("input, textarea, select");
  if (event.key === "ArrowDown" || event.key === "ArrowUp") {
    if (keys.open || (typing && document.activeElement !== text)) return;
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
    case "r": {
      const red = main.querySelector("form[data-quick] [name=red]");
      if (!red) return;
      red.focus(); red.select();
      break;
    }
    default: {
      const link = event.key.length === 1 && document.querySelector(`a[data-key="${CSS.escape(event.key)}"]`);
      if (!link) return;
      link.click();
      break;
    }
  }
  event.preventDefault();
}

document.addEventListener("keydown", key);
document.querySelector('a[data-key="?"]').addEventListener("click", (event) => { event.preventDefault(); keys.showModal(); });
document.addEventListener("visibilitychange", () => { listen(); beat(); });
bindFilter();
bindForms(main);
bindProbe(main);
bindMap(main);
bindSheet(main);
bindSignals(main);
listen();
beat();
