// Quick entry: a reading goes to the ledger without leaving the page, and the next one can be typed at once.

// Names of entries are made anew for each; the same one twice would be one entry.
function freshId() {
  return `${Date.now().toString(16)}-${crypto.randomUUID()}`;
}

async function send(form, submitter) {
  const trouble = form.querySelector("[data-trouble]");
  const fields = new URLSearchParams(new FormData(form, submitter));
  for (const bad of form.querySelectorAll("[aria-invalid]")) bad.removeAttribute("aria-invalid");
  let answer;
  try {
    answer = await fetch(form.action, { method: "POST", headers: { Accept: "application/json" }, body: fields });
  } catch {
    trouble.textContent = "Not written: the bench does not answer. What you typed is still here.";
    return false;
  }
  const told = await answer.json().catch(() => ({ message: "Not written.", help: "" }));
  if (!answer.ok) {
    trouble.textContent = `Not written. ${told.message} ${told.help}`;
    const field = told.field && form.elements.namedItem(told.field);
    if (field) { field.setAttribute("aria-invalid", "true"); field.focus(); }
    return false;
  }
  trouble.textContent = "";
  form.elements.namedItem("id").value = freshId();
  return told;
}

function quick(form) {
  form.addEventListener("submit", async (event) => {
    event.preventDefault();
    if (form.dataset.busy) return;
    form.dataset.busy = "yes";
    const told = await send(form, event.submitter);
    delete form.dataset.busy;
    if (!told) return;
    const { value, note, red } = form.elements;
    value.value = "";
    if (note) note.value = "";
    delete form.dataset.touched;
    red.focus();
    red.select();
    form.dispatchEvent(new CustomEvent("entered", { detail: told }));
  });
}

// Makes forms under `root` quick, once each.
export function bindForms(root) {
  for (const form of root.querySelectorAll("form[data-keep]:not([data-bound])")) {
    form.dataset.bound = "yes";
    form.addEventListener("input", () => { form.dataset.touched = "yes"; });
    if ("quick" in form.dataset) quick(form);
  }
}

export { send };
