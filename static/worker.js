// The yard's worker: packed pages from the phone at once, everything else from the line. It waits while old pages are open.
function worker() {
  const OWN = "shell-" + SHELL.join();

  addEventListener("install", (event) =>
    event.waitUntil(caches.open(OWN).then((c) => c.addAll([...SHELL, new Request("/on-this-phone", { cache: "reload" })])))
  );
  addEventListener("activate", (event) =>
    event.waitUntil(
      (async () => {
        for (const name of await caches.keys()) if (name.startsWith("shell-") && name !== OWN) await caches.delete(name);
        await clients.claim();
      })()
    )
  );

  // Packs that are whole, newest first. A pack brings its own script and sheet along.
  async function packs() {
    const whole = [];
    for (const name of (await caches.keys()).filter((k) => k.startsWith("pack-")).sort().reverse()) {
      const cache = await caches.open(name);
      if (await cache.match("/packed")) whole.push([name, cache]);
    }
    return whole;
  }

  async function open(request, { pathname: path, search }) {
    // What is asked for only the office knows; without a signal there is the page to ask on.
    if (search) {
      const found = await fetch(request).catch(() => {});
      if (found) return found;
    }
    const whole = await packs();
    for (const [, cache] of whole) {
      const page = await cache.match(path);
      if (page) return page;
    }
    try {
      return await fetch(request);
    } catch {
      if ((path === "/route" || path === "/") && whole.length) return Response.redirect("/route/" + whole[0][0].slice(5, 15));
      return caches.match("/on-this-phone");
    }
  }

  addEventListener("fetch", (event) => {
    const { request } = event;
    const url = new URL(request.url);
    if (request.method !== "GET" || url.origin !== location.origin) return;
    if (url.pathname.startsWith("/assets/")) event.respondWith(caches.match(request).then((kept) => kept ?? fetch(request)));
    else if (request.mode === "navigate") event.respondWith(open(request, url));
  });

  // Where the browser has it; the pages send by themselves without it.
  addEventListener("sync", (event) => event.tag === "send" && event.waitUntil(outbox.send().then(photos.send)));
}
