/* Review desk: single keys, and ready sentences that go into the note. Everything also works without script. */

const form = () => document.querySelector("form[data-return]");
const typing = (target) => target.matches?.("input, textarea, select, [contenteditable]");

/* Figures choose ready sentences while the note is open: beside it, and in it as long as nobody has typed there. */
function wantsSentence(target) {
  if (!form() || !document.getElementById("send-back").open) return false;
  return target.matches?.("textarea") ? !form().dataset.typed : !typing(target) || target.type === "checkbox";
}

document.addEventListener("input", (event) => {
  if (event.target.matches("form[data-return] textarea")) form().dataset.typed = "";
});

document.addEventListener("keydown", (event) => {
  if (event.key === "Enter" && (event.ctrlKey || event.metaKey) && form()?.contains(event.target)) {
    event.preventDefault();
    form().requestSubmit();
    return;
  }
  if (event.ctrlKey || event.metaKey || event.altKey || event.repeat) return;
  if (/^[1-9]$/.test(event.key) && wantsSentence(event.target)) {
    const box = form().querySelectorAll("input[type=checkbox]")[event.key - 1];
    if (box) event.preventDefault();
    return void box?.click();
  }
  if (typing(event.target)) return;
  if (document.querySelector("dialog[open]")) return;
  if (event.key === "?") return void document.getElementById("keys")?.showModal();
  const holder = /^[a-z]$/i.test(event.key) && document.querySelector(`[data-key="${event.key.toLowerCase()}"]`);
  if (!holder) return;
  event.preventDefault();
  if (holder.matches("form")) holder.requestSubmit();
  else if (holder.matches("details")) holder.open = !holder.open;
  else holder.click();
});

document.addEventListener("click", (event) => {
  if (!event.target.closest("[data-send-back]")) return;
  event.preventDefault();
  const place = document.getElementById("send-back");
  place.open = true;
  place.scrollIntoView({ block: "nearest" });
  form().querySelector("textarea").focus();
});

/* A ticked sentence goes into the note at once, where it can be changed; ticking it off takes it out again if it
   stands there unchanged. The boxes are not sent then: what counts is the note. */
document.addEventListener("change", (event) => {
  const box = event.target;
  if (!box.matches("form[data-return] input[type=checkbox]")) return;
  const note = form().querySelector("textarea");
  const sentence = box.closest("label").querySelector("span").firstChild.textContent.trim();
  const lines = note.value.split("\n").filter((line) => line.trim() !== sentence);
  if (box.checked) lines.push(sentence);
  note.value = lines.join("\n").replace(/^\n+/, "");
});

document.addEventListener("formdata", (event) => {
  if (event.target === form()) event.formData.delete("sentences");
});
