// Copies the text of a field; where the browser does not let it, the text is selected instead and that is said.
for (const place of document.querySelectorAll("[data-copy-from]")) {
  const button = place.querySelector("[data-copy]");
  const text = place.querySelector("textarea");
  const told = place.querySelector("[role=status]");
  button.hidden = false;
  button.addEventListener("click", async () => {
    text.select();
    try {
      await navigator.clipboard.writeText(text.value);
      told.textContent = told.dataset.copied;
    } catch {
      told.textContent = told.dataset.selected;
    }
  });
}
