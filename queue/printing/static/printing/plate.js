/* Clearing a bed: tapping a copy on the drawing ticks its checkbox, and the save button counts. Works without: the
   checkboxes are the form. */

const form = document.querySelector("[data-clear]");
const boxes = form ? [...form.querySelectorAll("input[name=lost]")] : [];
const copyOf = (box) => form.querySelector(`[data-copy="${box.value}"]`);

function show() {
  const lost = boxes.filter((box) => box.checked).length;
  for (const box of boxes) copyOf(box)?.classList.toggle("lost", box.checked);
  const words = form.querySelector("[data-some-lost] span");
  words.dataset.plain ??= words.textContent;
  words.textContent = lost
    ? words.dataset.words.replace("{good}", boxes.length - lost).replace("{lost}", lost)
    : words.dataset.plain;
  form.querySelector("[data-some-lost]").classList.toggle("main", lost > 0);
  form.querySelector("[data-all-good]").classList.toggle("main", lost === 0);
}

if (boxes.length) {
  form.addEventListener("change", show);
  form.querySelector("[data-plate]").addEventListener("click", (event) => {
    const copy = event.target.closest("[data-copy]");
    const box = copy && boxes.find((each) => each.value === copy.dataset.copy);
    if (!box) return;
    box.checked = !box.checked;
    show();
  });
  show();
}

/* A time typed in means "at that time". */
form?.querySelector("[data-ended-at]")?.addEventListener("input", (event) => {
  form.querySelector(`input[name=ended][value=${event.target.value ? "then" : "unseen"}]`).checked = true;
});
