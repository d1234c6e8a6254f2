/* Stands between the log's pages and the network: without one it answers with copies, if kept. */

const PATIENCE_MS = 6000;
const GATEWAY_DOWN = 502;
const LOG = new URL(self.registration.scope).pathname;

self.addEventListener("install", () => self.skipWaiting());
self.addEventListener("activate", (event) => event.waitUntil(self.clients.claim()));
self.addEventListener("fetch", (event) => {
  if (event.request.method !== "GET") return;
  event.respondWith(event.request.mode === "navigate" ? page(event.request) : file(event.request));
});

async function page(request) {
  const copy = await caches.match(copyFor(new URL(request.url).pathname));
  try {
    // What has no copy is waited for.
    const signal = copy && AbortSignal.timeout(PATIENCE_MS);
    const answer = await fetch(request, signal && { signal });
    return copy && answer.status >= GATEWAY_DOWN ? copy : answer;
  } catch {
    return copy ?? (await caches.match(`${LOG}/waiting`)) ?? Response.error();
  }
}

async function file(request) {
  try {
    return await fetch(request);
  } catch {
    return (await caches.match(request)) ?? Response.error();
  }
}

/* The form of any tank opens from the one blank form of its kind. */
function copyFor(path) {
  const kind = path.match(/\/(?:blank\/)?([a-z_]+)$/)?.[1];
  const own = path === LOG || path === `${LOG}/waiting`;
  return own || !kind ? path : `${LOG}/blank/${kind}`;
}
