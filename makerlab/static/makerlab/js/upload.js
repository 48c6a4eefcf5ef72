/* A place to drop a file (parts/drop.html). The form is boosted by htmx, so the answer is handled like any page;
   here a dropped or chosen file goes at once, with the amount sent, and can be stopped. */

import { toast } from "./app.js";

const MEGABYTE = 1024 * 1024;
const megabytes = (bytes) => (bytes / MEGABYTE).toLocaleString(document.documentElement.lang, { maximumFractionDigits: 1, minimumFractionDigits: 1 });
const part = (form, name) => form.querySelector(`[data-drop-${name}]`);
const dropForm = (event) => event.target.closest?.("form[data-drop]");

/* With script a chosen file goes at once: the button is not needed, and a line says so beforehand. */
function prepare(root) {
  for (const form of root.querySelectorAll("form[data-drop]:not([data-prepared])")) {
    form.dataset.prepared = "";
    part(form, "send").hidden = true;
    part(form, "told").hidden = false;
    if (form.querySelector("input[type=file]").files.length) send(form); // chosen before this was here
  }
}
function send(form) {
  const file = form.querySelector("input[type=file]").files[0];
  if (!file) return;
  if (file.size > Number(form.dataset.maxBytes)) {
    form.querySelector("input[type=file]").value = "";
    return toast(form.dataset.tooLarge);
  }
  part(form, "name").textContent = file.name;
  form.requestSubmit();
}

document.addEventListener("change", (event) => {
  const form = dropForm(event);
  if (form && event.target.type === "file") send(form);
});

for (const kind of ["dragenter", "dragover"]) {
  document.addEventListener(kind, (event) => {
    const form = dropForm(event);
    if (!form || !event.dataTransfer.types.includes("Files")) return;
    event.preventDefault();
    part(form, "zone").classList.add("is-over");
  });
}

document.addEventListener("dragleave", (event) => {
  const zone = event.target.closest?.("[data-drop-zone]");
  if (zone && !zone.contains(event.relatedTarget)) zone.classList.remove("is-over");
});

document.addEventListener("drop", (event) => {
  const form = dropForm(event);
  if (!form) return;
  event.preventDefault();
  part(form, "zone").classList.remove("is-over");
  if (event.dataTransfer.files.length > 1) return toast(form.dataset.several);
  form.querySelector("input[type=file]").files = event.dataTransfer.files;
  send(form);
});

document.addEventListener("htmx:beforeSend", (event) => {
  const form = dropForm(event);
  if (!form) return;
  part(form, "progress").hidden = false;
  part(form, "stop").hidden = false;
  part(form, "amount").textContent = "";
  form.querySelector("progress").value = 0;
  say(form, "sending");
});

document.addEventListener("htmx:xhr:progress", (event) => {
  const form = dropForm(event);
  const { loaded, total, lengthComputable } = event.detail;
  if (!form || !lengthComputable || event.detail.elt !== form) return;
  if (part(form, "status").dataset.now !== "sending") return;
  form.querySelector("progress").value = (100 * loaded) / total;
  part(form, "amount").textContent = `${megabytes(loaded)} / ${megabytes(total)} MB`;
  if (loaded >= total) say(form, "checking");
});

// a form that comes back with errors has no address of its own to put in the address line
document.addEventListener("htmx:beforeOnLoad", (event) => {
  if (event.detail.xhr.status === 422) event.detail.elt.setAttribute("hx-push-url", "false");
});

for (const kind of ["htmx:sendError", "htmx:responseError", "htmx:sendAbort", "htmx:timeout"]) {
  document.addEventListener(kind, (event) => {
    const form = dropForm(event);
    if (!form) return;
    part(form, "progress").hidden = kind === "htmx:sendAbort";
    part(form, "stop").hidden = true;
    form.querySelector("input[type=file]").value = "";
    say(form, "failed");
    const words = event.detail.xhr?.getResponseHeader("Makerlab-Said");
    if (words) part(form, "status").textContent = decodeURIComponent(words);
  });
}

document.addEventListener("click", (event) => {
  const form = dropForm(event);
  if (form && event.target.closest("[data-drop-stop]")) globalThis.htmx.trigger(form, "htmx:abort");
});

function say(form, what) {
  const status = part(form, "status");
  if (status.dataset.now === what) return;
  status.dataset.now = what;
  status.textContent = status.dataset[what];
}

prepare(document);
document.addEventListener("htmx:load", (event) => prepare(event.detail.elt.parentElement ?? document));
