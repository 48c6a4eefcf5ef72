/* A student's own pages, when the connection is gone. Runs beside the pages, as a service worker.

   The server says with a page until when it may be kept (Makerlab-Keep-Until) and what to say above it then
   (Makerlab-Kept). A page for nobody (Makerlab-Forget), as after signing out, empties the store. The network always
   comes first: what is kept is shown only when there is no answer. */

const PAGES = "pages-1";
const FILES = "files-1"; // style sheets and modules: nobody's in particular

addEventListener("install", () => skipWaiting());
addEventListener("activate", (event) => event.waitUntil(clients.claim()));

const kindOf = (request) => {
  if (request.mode === "navigate" || request.headers.get("HX-Boosted") === "true") return "page";
  if (request.destination === "image") return "picture";
  return ["style", "script", "font"].includes(request.destination) ? "file" : "";
};

addEventListener("fetch", (event) => {
  const { request } = event;
  if (new URL(request.url).origin !== location.origin) return;
  const kind = request.method === "GET" ? kindOf(request) : "";
  if (kind) event.respondWith(answer(event, request, kind));
});

/* The page that was there before the worker names itself and what it uses. */
addEventListener("message", (event) => {
  const [page, ...files] = event.data;
  event.waitUntil(Promise.allSettled([
    fetch(page).then((response) => keep(page, response, "page")),
    ...files.map((url) => fetch(url).then((response) => keep(url, response, /\.(png|svg)$/.test(url) ? "picture" : "file"))),
  ]));
});

async function answer(event, request, kind) {
  try {
    const response = await fetch(request);
    event.waitUntil(keep(request.url, response.clone(), kind));
    return response;
  } catch (lost) {
    const kept = await (await caches.open(kind === "file" ? FILES : PAGES)).match(request.url, { ignoreVary: true });
    if (!kept) throw lost;
    return kind === "page" ? shown(request.url, kept, lost) : kept;
  }
}

async function keep(url, response, kind) {
  if (response.headers.has("Makerlab-Forget")) await caches.delete(PAGES);
  if (!response.ok || response.redirected) return;
  if (kind === "page" && !response.headers.has("Makerlab-Keep-Until")) return;
  await (await caches.open(kind === "file" ? FILES : PAGES)).put(url, response);
}

/* A kept page with a line above it, or none when its time is over. */
async function shown(url, kept, lost) {
  if (Date.now() > 1000 * Number(kept.headers.get("Makerlab-Keep-Until"))) {
    await caches.delete(PAGES);
    throw lost;
  }
  const said = decodeURIComponent(kept.headers.get("Makerlab-Kept")).replace(/[&<]/g, (sign) => (sign === "&" ? "&amp;" : "&lt;"));
  const html = await kept.text();
  const banner = `<div class="banner care" role="status" data-kept><p>${said}</p></div>`;
  return new Response(html.replace(/<main[^>]*>/, (main) => main + banner), { headers: kept.headers });
}
