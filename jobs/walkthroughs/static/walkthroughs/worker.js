// The service worker of the crew's pages: from the network where there is one, otherwise as the page was last seen.
// It keeps pages only; what is to go up is kept and sent by phone.js.
"use strict";
const CACHE = "crew-pages-1";

self.addEventListener("install", () => self.skipWaiting());
self.addEventListener("activate", (event) => event.waitUntil(self.clients.claim()));

async function answer(request) {
  const cache = await caches.open(CACHE);
  try {
    const fresh = await fetch(request);
    if (fresh.ok && !fresh.redirected) {
      await cache.put(request, fresh.clone());
    }
    return fresh;
  } catch (error) {
    const kept = await cache.match(request, { ignoreVary: true });
    if (kept) {
      return kept;
    }
    throw error;
  }
}

// A page once the scripts and styles are there that it needs to work.
async function keepPage(cache, path) {
  const page = await fetch(path);
  if (!page.ok || page.redirected) {
    return;
  }
  const parts = (await page.clone().text()).matchAll(/(?:href|src)="(\/static\/[^"]+\.(?:css|js))"/g);
  for (const [, address] of parts) {
    await cache.add(address);
  }
  await cache.put(path, page);
}

async function keepPages(paths) {
  const cache = await caches.open(CACHE);
  for (const path of paths) {
    await keepPage(cache, path).catch(() => {});
  }
}

self.addEventListener("message", (event) => event.waitUntil(keepPages(event.data.keep || [])));

self.addEventListener("fetch", (event) => {
  const request = event.request;
  const url = new URL(request.url);
  const ours = url.pathname.startsWith("/static/") || (url.pathname.startsWith("/crew/") && request.mode === "navigate");
  if (request.method === "GET" && url.origin === self.location.origin && ours) {
    event.respondWith(answer(request));
  }
});
