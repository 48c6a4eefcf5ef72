/* What every page does with script: tell of lost requests, keep focus and place, close toasts. */

const toasts = () => document.getElementById("toasts");

/** Show one line at the foot of the page; it is read out, and goes by its own button. */
export function toast(text) {
  const line = document.createElement("div");
  line.className = "toast";
  const words = document.createElement("p");
  words.textContent = text;
  line.append(words, closeButton());
  toasts().append(line);
}

function closeButton() {
  const button = document.createElement("button");
  button.type = "button";
  button.className = "btn plain";
  button.dataset.closeToast = "";
  button.textContent = toasts().dataset.close;
  return button;
}

document.addEventListener("click", (event) => {
  event.target.closest("[data-close-toast]")?.closest(".toast").remove();
});

/* Requests that fail say so: silence would look like success. */
const saysItself = (event) => event.target.matches?.("form[data-drop]");
document.addEventListener("htmx:sendError", (event) => saysItself(event) || toast(toasts().dataset.lost));
document.addEventListener("htmx:responseError", (event) => saysItself(event) || toast(toasts().dataset.refused));

/* The server may send a line with the answer: HX-Trigger: {"toast": {"text": "..."}} */
document.addEventListener("toast", (event) => toast(event.detail.text ?? event.detail.value));

/* A new page in place: the reader starts at its top, like after any link. */
document.addEventListener("htmx:afterSettle", (event) => {
  if (event.detail.boosted && event.detail.target === document.body) {
    document.getElementById("main")?.focus({ preventScroll: true });
  }
});

/* A fragment that replaces itself on a timer must not take away a field somebody is filling in: it waits a turn.
   (Whatever else has the focus, htmx finds again by its id.) */
document.addEventListener("htmx:beforeSwap", (event) => {
  const { target, elt, requestConfig } = event.detail;
  const polled = requestConfig?.verb === "get" && [undefined, "load"].includes(requestConfig.triggeringEvent?.type);
  const busy = target.contains(document.activeElement) && document.activeElement.matches("input, select, textarea");
  if (!polled || !busy) return;
  event.detail.shouldSwap = false;
  if (elt.getAttribute("hx-trigger")?.includes("load")) globalThis.htmx.trigger(elt, "load");
});

/* Dialogs: data-open="id" opens, data-close closes; without script they are shown in the page. */
document.addEventListener("click", (event) => {
  const opener = event.target.closest("[data-open]");
  if (opener) document.getElementById(opener.dataset.open)?.showModal();
  event.target.closest("[data-close]")?.closest("dialog")?.close();
});

/* Buttons of a form that has been sent rest until the answer is there, so that nothing is done twice. */
document.addEventListener("submit", (event) => {
  if (event.defaultPrevented || event.target.matches("[hx-boost], [hx-post], [data-twice]")) return;
  setTimeout(() => {
    for (const button of event.target.querySelectorAll("button[type=submit]")) button.disabled = true;
  });
});
addEventListener("pageshow", (event) => {
  if (event.persisted) for (const button of document.querySelectorAll("button[type=submit]")) button.disabled = false;
});
