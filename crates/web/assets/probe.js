// The probe page: a keypad for the thumb, arrows for skip and back while nothing is typed.

let isAgain = false;

export function bindProbe(root) {
  const form = root.querySelector("form[data-probe]:not([data-probing])");
  if (!form) return;
  form.dataset.probing = "yes";
  const value = form.elements.namedItem("value");
  const pad = form.querySelector("[data-keypad]");
  pad.hidden = false;
  if (matchMedia("(pointer: coarse)").matches) value.inputMode = "none";
  pad.addEventListener("click", (event) => {
    const key = event.target.closest("[data-type]")?.dataset.type;
    if (!key) return;
    if (key === "back") value.value = value.value.slice(0, -1);
    else if (key === "OL") value.value = "OL";
    else value.value += key;
    value.dispatchEvent(new Event("input", { bubbles: true }));
    value.focus();
  });
  value.addEventListener("keydown", (event) => {
    if (value.value !== "" || event.ctrlKey || event.altKey || event.metaKey) return;
    if (event.key === "ArrowRight") location.assign(form.dataset.skip);
    else if (event.key === "ArrowLeft") location.assign(form.dataset.back);
    else if (event.key === "ArrowDown") {
      const note = form.querySelector("#probe-note");
      note.open = true;
      form.elements.namedItem("note").focus();
    } else return;
    event.preventDefault();
  });
  if (isAgain) value.focus();
  // At first the field's own autofocus comes; a focus set before it makes the browser complain.
  else requestAnimationFrame(() => requestAnimationFrame(() => { if (document.activeElement === document.body) value.focus(); }));
  isAgain = true;
}
