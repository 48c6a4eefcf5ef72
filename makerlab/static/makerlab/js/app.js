/* What every page does with script: tell of lost requests, keep focus and place, close toasts. */

const toasts = () => document.getElementById("toasts");

/** Show one line at the foot of the page; it is read out, and goes by its own button. */
export function toast(text) {
  if ([...toasts().querySelectorAll(".toast > p")].some((line) => line.textContent === text)) return; // said already
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
document.addEventListener("htmx:responseError", (event) => saysItself(event) || toast(refusal(event)));

/* The words: the server's own where it has some; of an error of ours with the number that the log has too. */
function refusal(event) {
  const header = (name) => event.detail.xhr?.getResponseHeader(name);
  const words = decodeURIComponent(header("Makerlab-Said") ?? "") || toasts().dataset.refused;
  return header("Makerlab-Incident") ? `${words} (${header("Makerlab-Incident")})` : words;
}

/* The server may send a line with the answer: HX-Trigger: {"toast": {"text": "..."}} */
document.addEventListener("toast", (event) => toast(event.detail.text ?? event.detail.value));

/* A page put in place of another (hx-boost) brings a body only: the style sheets and modules its head names are fetched
   here, each once. A module finds what it serves by htmx:load, which also follows for the page it came with. */
document.addEventListener("htmx:beforeSwap", (event) => {
  const { boosted, shouldSwap, target, serverResponse } = event.detail;
  if (!boosted || !shouldSwap || target !== document.body) return;
  const { head } = new DOMParser().parseFromString(serverResponse, "text/html");
  const known = new Set([...document.head.querySelectorAll("link[rel=stylesheet]")].map((link) => link.href));
  for (const link of head.querySelectorAll("link[rel=stylesheet]")) {
    const url = new URL(link.getAttribute("href"), location.href).href;
    if (!known.has(url)) document.head.append(Object.assign(document.createElement("link"), { rel: "stylesheet", href: url, media: link.media }));
  }
  for (const script of head.querySelectorAll("script[type=module][src]")) {
    import(new URL(script.getAttribute("src"), location.href).href).catch(() => toast(toasts().dataset.refused));
  }
});

/* What an element needs (data-module) is fetched when it comes near the window. */
const near = new IntersectionObserver((entries) => {
  for (const { isIntersecting, target } of entries) {
    if (!isIntersecting) continue;
    near.unobserve(target);
    import(new URL(target.dataset.module, location.href).href).catch(() => toast(toasts().dataset.refused));
  }
}, { rootMargin: "300px" });
const attend = (root) => root.querySelectorAll("[data-module]").forEach((each) => near.observe(each));
attend(document);
document.addEventListener("htmx:load", (event) => attend(event.detail.elt.parentElement ?? document));

/* A new page in place: the reader starts at its top, like after any link. */
document.addEventListener("htmx:afterSettle", (event) => {
  if (event.detail.boosted && event.detail.target === document.body) {
    document.getElementById("main")?.focus({ preventScroll: true });
  }
});

/* A fragment that replaces itself on a timer must not take away a field somebody is filling in, nor a form or link whose
   answer is on its way (it would have nowhere to go): it waits a turn. (Whatever else has the focus, htmx finds again by
   its id.) */
const asking = new Set();
document.addEventListener("htmx:beforeRequest", (event) => asking.add(event.detail.elt));
document.addEventListener("htmx:afterRequest", (event) => asking.delete(event.detail.elt));
document.addEventListener("htmx:beforeSwap", (event) => {
  const { target, elt, requestConfig } = event.detail;
  const polled = requestConfig?.verb === "get" && [undefined, "load"].includes(requestConfig.triggeringEvent?.type);
  const filledIn = target.contains(document.activeElement) && document.activeElement.matches("input, select, textarea");
  const answers = [...asking].some((other) => other !== elt && target.contains(other));
  if (!polled || !(filledIn || answers)) return;
  event.detail.shouldSwap = false;
  if (elt.getAttribute("hx-trigger")?.includes("load")) globalThis.htmx.trigger(elt, "load");
});

/* A graph or table pushed sideways stays there when its fragment is replaced. */
let places = [];
document.addEventListener("htmx:beforeSwap", ({ detail: { target, shouldSwap } }) => {
  if (!shouldSwap) return;
  places = [...target.querySelectorAll("[role=region][id], [role=group][id]")].filter((box) => box.scrollLeft).map((box) => [box.id, box.scrollLeft]);
});
document.addEventListener("htmx:afterSwap", () => {
  for (const [id, left] of places) {
    const box = document.getElementById(id);
    if (box) box.scrollLeft = left;
  }
  places = [];
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

/* A student's own pages are kept for when the connection is gone (offline.js), where the browser can: over TLS or on the
   machine itself. The page that brings the worker was there before it, so it names itself. */
const { worker } = document.body.dataset;
if (worker && navigator.serviceWorker && !navigator.serviceWorker.controller) {
  navigator.serviceWorker.register(worker).then(() => navigator.serviceWorker.ready).then(({ active }) => {
    const used = performance.getEntriesByType("resource").map((entry) => entry.name);
    active.postMessage([location.href, ...used.filter((url) => /\.(css|js|svg|png)$/.test(url) && !url.endsWith(worker))]);
  }).catch(() => {}); // without it the pages work as before
}
