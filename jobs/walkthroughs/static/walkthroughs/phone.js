// Keeps walkthroughs, pictures and short entries (steps done, poured, rinsed) on the phone until they have gone up, in
// order, each once: the server knows them by keys that are made here. Without this file the forms are ordinary forms.
"use strict";
(() => {
  const place = document.getElementById("waiting");
  if (!place || !("indexedDB" in window) || !("serviceWorker" in navigator)) {
    return;
  }
  const user = place.dataset.user;
  const form = document.querySelector("form[data-walkthrough]");
  navigator.serviceWorker.register(place.dataset.worker, { scope: "/crew/" }).then(keepLinkedPages, () => {});

  // A page that was never open is not there without a signal: fetch the day's walkthroughs ahead.
  // Pages that another crew lead saw on this phone are forgotten first.
  async function keepLinkedPages() {
    if (localStorage.getItem("wallday-pages-of") !== user) {
      await caches.delete("crew-pages-1");
      localStorage.setItem("wallday-pages-of", user);
    }
    const cache = await caches.open("crew-pages-1");
    for (const path of [location.pathname, ...[...document.querySelectorAll("a[data-keep]")].map((a) => a.pathname)]) {
      await cache.add(path).catch(() => {});
    }
    for (const part of document.querySelectorAll("link[rel=stylesheet], script[src]")) {
      await cache.add(part.href || part.src).catch(() => {});
    }
  }

  // --- the queue: entries in the order in which they were written ---
  const opened = new Promise((done, failed) => {
    const request = indexedDB.open("wallday-walkthroughs", 1);
    request.onupgradeneeded = () => request.result.createObjectStore("queue", { keyPath: "id", autoIncrement: true });
    request.onsuccess = () => done(request.result);
    request.onerror = () => failed(request.error);
  });

  async function store(mode, work) {
    const database = await opened;
    return new Promise((done, failed) => {
      const transaction = database.transaction("queue", mode);
      const request = work(transaction.objectStore("queue"));
      transaction.oncomplete = () => done(request && request.result);
      transaction.onerror = transaction.onabort = () => failed(transaction.error);
    });
  }
  const waiting = async () => (await store("readonly", (queue) => queue.getAll())).filter((item) => item.user === user);

  // An entry and its pictures are written in one transaction: all of them or none.
  const keep = (items) => store("readwrite", (queue) => { items.forEach((item) => queue.add(item)); });
  const forget = (id) => store("readwrite", (queue) => queue.delete(id));
  const change = (item) => store("readwrite", (queue) => queue.put(item));

  // --- the form as an entry ---
  function read() {
    const data = new FormData(form);
    const walls = [...form.querySelectorAll("[data-wall]")].map((section) => {
      const field = section.dataset.wall;
      const spots = [];
      for (let number = 0; number < 9; number += 1) {
        const grade = data.get(`${field}_${number}`);
        if (grade !== null) {
          const half = data.get(`${field}_${number}_half`) && grade !== "5";
          spots.push(half ? `${grade}.5` : grade);
        }
      }
      return { ...(field[0] === "w" ? { wall: Number(field.slice(1)) } : { name: section.dataset.name }), spots };
    }).filter((wall) => wall.spots.length);
    const findings = [...form.querySelectorAll("[data-finding]")].filter((row) => data.get(row.dataset.finding)).map((row) => {
      const field = row.dataset.finding;
      const wall = data.get(`${field}_wall`);
      return { kind: field.slice(2), note: data.get(`${field}_note`) || "", ...(wall ? { wall: Number(wall) } : {}) };
    });
    const photos = data.getAll("photos").filter((file) => file.size);
    const day = new Intl.DateTimeFormat("en-CA", { timeZone: form.dataset.zone }).format(new Date());
    const rain = data.get("days_since_rain");
    return {
      photos,
      entry: {
        key: crypto.randomUUID(), job: Number(form.dataset.walkthrough), walked_on: day, walls, findings,
        days_since_rain: rain === "" ? null : Number(rain), photo_count: Math.min(photos.length, 24),
        video_url: data.get("video_url") || "", note: data.get("note") || "",
      },
    };
  }

  // What was pressed survives a page that is closed or loaded again (pictures have to be chosen anew).
  const draft = form && `wallday-draft-${user}-${form.dataset.walkthrough}`;
  const fields = () => [...form.elements].filter((field) => field.name && !["hidden", "file", "submit"].includes(field.type));

  function keepDraft() {
    const pressed = fields().filter((field) => ["radio", "checkbox"].includes(field.type) ? field.checked : field.value);
    localStorage.setItem(draft, JSON.stringify(pressed.map((field) => [field.name, field.value])));
  }

  function restoreDraft() {
    const kept = JSON.parse(localStorage.getItem(draft) || "[]");
    for (const field of fields()) {
      const values = kept.filter(([name]) => name === field.name).map(([, value]) => value);
      if (["radio", "checkbox"].includes(field.type)) {
        field.checked = field.checked || values.includes(field.value);
      } else if (values.length && !field.value) {
        [field.value] = values;
      }
    }
  }

  if (form) {
    restoreDraft();
    form.addEventListener("change", keepDraft);
    form.addEventListener("submit", async (event) => {
      event.preventDefault();
      if (form.hidden) {
        return;
      }
      const { entry, photos } = read();
      form.hidden = true;
      const items = [{ user, kind: "entry", key: entry.key, body: entry }];
      for (const file of photos) {
        items.push({ user, kind: "photo", key: entry.key, photo: crypto.randomUUID(), body: await file.arrayBuffer() });
      }
      try {
        await keep(items);
      } catch {  // no room on the phone: sent as an ordinary form
        form.submit();
        return;
      }
      localStorage.removeItem(draft);
      form.closest("details").open = false;
      await send(true);
    });
  }

  // --- short entries: one button each, with the time at which it was pressed ---
  for (const short of document.querySelectorAll("form[data-queue]")) {
    short.addEventListener("submit", async (event) => {
      event.preventDefault();
      const fields = [...new FormData(short)].filter(([name, value]) => name !== "csrfmiddlewaretoken" && value !== "");
      const key = crypto.randomUUID();
      const body = { key, at: new Date().toISOString(), is_done: false, ...Object.fromEntries(fields) };
      try {
        await keep([{ user, kind: "short", key, path: short.dataset.queue, body }]);
      } catch {  // no room on the phone: sent as an ordinary form
        short.submit();
        return;
      }
      short.querySelector("button").disabled = true;
      await send(true);
    });
  }

  // --- going up ---
  const token = () => (document.cookie.match(/(?:^|; )csrftoken=([^;]+)/) || [])[1] || "";
  const post = (item) => item.kind !== "photo"
    ? fetch(item.path || "/api/walkthroughs/", {
      method: "POST", body: JSON.stringify(item.body),
      headers: { "Content-Type": "application/json", "X-CSRFToken": token() },
    })
    : fetch(`/api/walkthroughs/${item.key}/photos/${item.photo}/`, {
      method: "PUT", body: item.body,
      headers: { "Content-Type": "application/octet-stream", "X-CSRFToken": token() },
    });

  let sending = false;
  async function send(reload) {
    if (sending) {
      return;
    }
    sending = true;
    try {
      const went = await navigator.locks.request("wallday-walkthroughs", sendAll);
      if (went && reload && !(await waiting()).length) {
        location.reload();
      }
    } finally {
      sending = false;
    }
  }

  // One after the other; the first that finds no signal ends the round. What the server refuses is kept and said, and
  // the pictures of a refused entry stay behind it.
  async function sendAll() {
    let went = 0;
    let signIn = false;
    const refused = new Set();
    for (const item of await waiting()) {
      if (item.refused || refused.has(item.key)) {
        refused.add(item.kind === "entry" ? item.key : "");
        continue;
      }
      let answer;
      try {
        answer = await post(item);
      } catch {
        break;
      }
      if (answer.ok) {
        await forget(item.id);
        went += 1;
      } else if (answer.status === 401 || answer.status === 403) {
        signIn = true;
        break;
      } else if (answer.status >= 500 || answer.status === 429) {
        break;
      } else {
        const problem = await answer.json().catch(() => ({}));
        await change({ ...item, refused: problem.detail || String(answer.status) });
        refused.add(item.kind === "entry" ? item.key : "");
      }
    }
    await say(went, signIn);
    return went;
  }

  async function say(went, signIn) {
    const items = await waiting();
    const refused = items.filter((item) => item.refused);
    const count = (kind) => items.filter((item) => item.kind === kind).length;
    const words = [];
    if (items.length) {
      words.push(place.dataset.waits.replace("{w}", count("entry")).replace("{p}", count("photo")).replace("{s}", count("short")));
    } else if (went) {
      words.push(place.dataset.none);
    }
    if (signIn) {
      words.push(place.dataset.signin);
    }
    refused.forEach((item) => words.push(`${place.dataset.refused} ${item.refused}`));
    place.replaceChildren(...words.map((text) => Object.assign(document.createElement("p"), { textContent: text })));
    if (refused.length) {
      const drop = Object.assign(document.createElement("button"), { type: "button", className: "btn btn-quiet", textContent: place.dataset.drop });
      drop.addEventListener("click", async () => {
        const gone = new Set(refused.filter((item) => item.kind === "entry").map((item) => item.key));
        for (const item of items.filter((one) => one.refused || gone.has(one.key))) {
          await forget(item.id);
        }
        await say(0, false);
      });
      place.append(drop);
    }
    place.hidden = !words.length;
  }

  window.addEventListener("online", () => send(true));
  window.setInterval(() => send(true), 30000);
  send(false);
})();
