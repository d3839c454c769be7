// Keeps walkthroughs, pictures and short entries (steps done, poured, rinsed) on the phone until they have gone up, in
// order, each once: the server knows them by keys that are made here. Without this file the forms are ordinary forms.
"use strict";
(() => {
  const place = document.getElementById("waiting");
  if (!place || !("indexedDB" in window) || !("serviceWorker" in navigator)) {
    return;
  }
  const user = place.dataset.user;
  navigator.serviceWorker.register(place.dataset.worker, { scope: "/crew/" }).then(keepLinkedPages, () => {});

  // A page that was never open is not there without a signal: the worker fetches the day's walkthroughs ahead, also when
  // this page is left at once. Pages that another crew lead saw on this phone are forgotten first.
  async function keepLinkedPages() {
    if (localStorage.getItem("wallday-pages-of") !== user) {
      await caches.delete("crew-pages-1");
      localStorage.setItem("wallday-pages-of", user);
    }
    const { active } = await navigator.serviceWorker.ready;
    const linked = [...document.querySelectorAll("a[data-keep]")].map((a) => a.pathname);
    active.postMessage({ keep: [location.pathname, ...linked] });
  }

  // --- what is kept: `queue`, entries in the order in which they were written; `pictures` of forms not sent yet ---
  const opened = new Promise((done, failed) => {
    const request = indexedDB.open("wallday-walkthroughs", 2);
    request.onupgradeneeded = () => {
      for (const name of ["queue", "pictures"]) {
        if (!request.result.objectStoreNames.contains(name)) {
          request.result.createObjectStore(name, { keyPath: "id", autoIncrement: true });
        }
      }
    };
    request.onsuccess = () => done(request.result);
    request.onerror = () => failed(request.error);
  });

  // One transaction over both: all of it or nothing.
  async function store(mode, work) {
    const database = await opened;
    return new Promise((done, failed) => {
      const transaction = database.transaction(["queue", "pictures"], mode);
      const request = work(transaction.objectStore("queue"), transaction.objectStore("pictures"));
      transaction.oncomplete = () => done(request && request.result);
      transaction.onerror = transaction.onabort = () => failed(transaction.error);
    });
  }
  const everything = () => store("readonly", (queue) => queue.getAll());
  const waiting = async () => (await everything()).filter((item) => item.user === user);
  const keep = (items, used = []) => store("readwrite", (queue, pictures) => {
    items.forEach((item) => queue.add(item));
    used.forEach((id) => pictures.delete(id));
  });
  const forget = (ids) => store("readwrite", (queue) => { ids.forEach((id) => queue.delete(id)); });
  const change = (item) => store("readwrite", (queue) => queue.put(item));

  // --- short entries: one button each, with the time at which it was pressed ---
  for (const short of document.querySelectorAll("form[data-queue]")) {
    short.addEventListener("submit", async (event) => {
      event.preventDefault();
      const fields = [...new FormData(short)].filter(([name, value]) => name !== "csrfmiddlewaretoken" && value !== "");
      const key = crypto.randomUUID();
      const at = new Date().toISOString();
      const body = { key, at, is_done: false, ...Object.fromEntries(fields) };
      try {
        await keep([{ user, kind: "short", key, at, label: document.title, path: short.dataset.queue, body }]);
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
  // What waited longer than a minute, by the phone's own clock, is no question any more: it has happened.
  const bodyOf = (item) => item.kind === "short" && Date.now() - Date.parse(item.at) > 60000
    ? { ...item.body, happened: true } : item.body;
  const post = (item) => item.kind !== "photo"
    ? fetch(item.path || "/api/walkthroughs/", {
      method: "POST", body: JSON.stringify(bodyOf(item)),
      headers: { "Content-Type": "application/json", "X-CSRFToken": token() },
    })
    : fetch(`/api/walkthroughs/${item.key}/photos/${item.photo}/?${new URLSearchParams(item.where)}`, {
      method: "PUT", body: item.body,
      headers: { "Content-Type": "application/octet-stream", "X-CSRFToken": token() },
    });
  const problemOf = async (answer) => (await answer.json().catch(() => ({}))).detail || String(answer.status);

  // What a signal is enough for: not what was refused, nor the pictures behind a refused entry.
  function rising(items) {
    const stuck = new Set(items.filter((item) => item.refused && item.kind === "entry").map((item) => item.key));
    return items.filter((item) => !item.refused && !stuck.has(item.key));
  }

  // A form that is being filled in is not loaded anew under the thumb.
  let isBusy = () => false;
  let sending = false;
  async function send(reload) {
    if (sending) {
      return;
    }
    sending = true;
    try {
      const went = await navigator.locks.request("wallday-walkthroughs", sendAll);
      if (went && reload && !isBusy() && !rising(await waiting()).length) {
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
        await forget([item.id]);
        went += 1;
      } else if (answer.status === 401 || answer.status === 403) {
        signIn = true;
        break;
      } else if (answer.status >= 500 || answer.status === 429) {
        break;
      } else {
        await change({ ...item, refused: await problemOf(answer) });
        refused.add(item.kind === "entry" ? item.key : "");
      }
    }
    await say(went, signIn);
    return went;
  }

  // Where there is no room to keep it: at once, from memory. Returns what is wrong, or nothing.
  async function sendUnkept(items, noSignal) {
    for (const item of items) {
      try {
        const answer = await post(item);
        if (!answer.ok) {
          return answer.status === 401 || answer.status === 403 ? place.dataset.signin : await problemOf(answer);
        }
      } catch {
        return noSignal;
      }
    }
    return "";
  }

  // --- what waits and what was refused, in words ---
  const line = (...parts) => {
    const paragraph = document.createElement("p");
    paragraph.append(...parts);
    return paragraph;
  };
  const press = (text, work) => {
    const button = Object.assign(document.createElement("button"), { type: "button", className: "btn btn-quiet", textContent: text });
    button.addEventListener("click", work);
    return button;
  };

  async function say(went, signIn) {
    const all = await everything();
    const items = all.filter((item) => item.user === user);
    const waits = rising(items);
    const count = (kind) => waits.filter((item) => item.kind === kind).length;
    const words = [];
    if (waits.length) {
      words.push(line(place.dataset.waits.replace("{w}", count("entry")).replace("{p}", count("photo")).replace("{s}", count("short"))));
    } else if (went && !items.length) {
      words.push(line(place.dataset.none));
    }
    if (all.length > items.length) {
      words.push(line(place.dataset.others.replace("{n}", all.length - items.length)));
    }
    if (signIn) {
      const link = Object.assign(document.createElement("a"), { textContent: place.dataset.signin });
      link.href = `${place.dataset.signinAt}?next=${encodeURIComponent(location.pathname)}`;
      words.push(line(link));
    }
    items.filter((item) => item.refused).forEach((item) => words.push(...refusedWords(item, items)));
    place.replaceChildren(...words);
    place.hidden = !words.length;
  }

  // Which house, when, and why; an entry can be put right with its pictures, or thrown away with them.
  function refusedWords(item, items) {
    const time = new Date(item.at).toLocaleTimeString([], { hour: "numeric", minute: "2-digit" });
    const behind = item.kind === "entry" ? items.filter((one) => one.key === item.key) : [item];
    const buttons = document.createElement("div");
    buttons.className = "row";
    if (item.kind === "entry") {
      buttons.append(press(place.dataset.again, () => putRight(item, behind)));
    }
    buttons.append(press(place.dataset.drop, async () => {
      await forget(behind.map((one) => one.id));
      await say(0, false);
    }));
    return [line(`${place.dataset.refused} ${item.label}, ${time}: ${item.refused}`), buttons];
  }

  async function putRight(item, behind) {
    localStorage.setItem(draftOf(item.body.job), JSON.stringify(item.draft));
    await store("readwrite", (queue, pictures) => {
      for (const one of behind) {
        if (one.kind === "photo") {
          pictures.add({ user, job: item.body.job, place: one.place, name: one.name, body: one.body });
        }
        queue.delete(one.id);
      }
    });
    location.assign(item.page);
  }

  const draftOf = (job) => `wallday-draft-${user}-${job}`;
  window.wallday = { user, store, keep, send, sendUnkept, draftOf, busyWhen: (tell) => { isBusy = tell; } };

  window.addEventListener("online", () => send(true));
  window.setInterval(() => send(true), 30000);
  send(false);
})();
