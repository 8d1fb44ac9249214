// The map fits the screen; the form says how wide the photograph is shown, so that a click can be placed on it.

export function bindMap(root) {
  for (const form of root.querySelectorAll("form[data-map]:not([data-bound])")) {
    form.dataset.bound = "yes";
    const picture = form.querySelector("input[type=image]");
    picture.classList.add("fits");
    picture.addEventListener("click", () => { form.elements.namedItem("width").value = picture.clientWidth; });
    // Enter in the name would send the form without a place.
    form.addEventListener("keydown", (event) => { if (event.key === "Enter" && event.target !== picture) event.preventDefault(); });
  }
}
