// The sheet's table, as fast as a spreadsheet: Enter down, arrows between rows, a pasted list over the cells.

function rowOf(body) {
  const row = body.rows[body.rows.length - 1].cloneNode(true);
  for (const input of row.querySelectorAll("input")) {
    input.value = "";
    input.removeAttribute("aria-invalid");
    input.removeAttribute("aria-describedby");
    input.setAttribute("aria-label", input.getAttribute("aria-label").replace(/\d+$/, String(body.rows.length + 1)));
  }
  for (const trouble of row.querySelectorAll(".cell-trouble")) trouble.remove();
  body.append(row);
  return row;
}

function at(body, row, column) {
  while (row >= body.rows.length) rowOf(body);
  return body.rows[row].cells[column].querySelector("input");
}

function place(input) {
  const cell = input.closest("td");
  return [cell.parentElement.sectionRowIndex, cell.cellIndex];
}

// The net that is being typed is completed by those that were typed before.
function complete(input, form) {
  const nets = new Set();
  for (const cell of form.querySelectorAll("[name=part-nets]")) {
    if (cell === input) continue;
    for (const word of cell.value.split(/\s+/)) if (word) nets.add(word.split("=").pop());
  }
  const start = input.value.replace(/[^\s=]*$/, "");
  const list = form.querySelector("#nets");
  list.replaceChildren(...[...nets].sort().map((net) => new Option(net, start + net)));
}

export function bindSheet(root) {
  const form = root.querySelector("form[data-sheet]:not([data-bound])");
  if (!form) return;
  form.dataset.bound = "yes";
  const body = form.querySelector("table.cells").tBodies[0];
  body.addEventListener("keydown", (event) => {
    const step = { Enter: 1, ArrowDown: 1, ArrowUp: -1 }[event.key];
    if (!step || event.ctrlKey || event.altKey || event.metaKey || !event.target.matches("input")) return;
    const [row, column] = place(event.target);
    event.preventDefault();
    event.stopPropagation();
    if (row + step < 0) return;
    at(body, row + step, event.key === "Enter" && column === 4 ? 0 : column).focus();
  });
  body.addEventListener("input", (event) => {
    if (event.target.name === "part-nets") complete(event.target, form);
  });
  body.addEventListener("paste", (event) => {
    const text = event.clipboardData.getData("text");
    if (!/[\n\t]/.test(text.trim())) return;
    event.preventDefault();
    const [row, column] = place(event.target);
    const mark = text.includes("\t") ? "\t" : text.includes(";") ? ";" : ",";
    text.trim().split(/\r?\n/).forEach((line, down) => {
      line.split(mark).forEach((cell, right) => {
        if (column + right < 5) at(body, row + down, column + right).value = cell.trim().replace(/^"(.*)"$/, "$1");
      });
    });
  });
}
