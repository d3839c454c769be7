// Keeps walkthroughs, pictures, answers of homeowners, marks (arrived, started, finished) and short entries (steps done, poured,
// rinsed) on the phone until they have gone up, in order, each once: the server knows them by keys that are made here.
// Without this file the forms are ordinary forms.
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
  const own = async () => (await everything()).filter((item) => item.user === user);
  const waiting = async () => (await own()).filter((item) => !item.went);
  const keep = (items, used = []) => store("readwrite", (queue, pictures) => {
    items.forEach((item) => queue.add(item));
    used.forEach((id) => pictures.delete(id));
  });
  const forget = (ids) => store("readwrite", (queue) => { ids.forEach((id) => queue.delete(id)); });
  const change = (item) => store("readwrite", (queue) => queue.put(item));

  // What went up is kept until a page of the server's knows it: a page that was kept before does not, and without a signal
  // the phone has to say by itself how far a house is. After a week it is forgotten in any case.
  const KEPT_MS = 8 * 24 * 3600 * 1000;
  const isStaying = (item) => ["entry", "photo", "answer", "mark"].includes(item.kind);

  // How far a house is by what this phone holds and its page does not know yet; nothing where the page knows as much.
  // `place` has the server's keys of the house: data-job, data-walked (oldest first), data-answered.
  async function houseOf(place) {
    const [walked, answered] = [place.dataset.walked, place.dataset.answered].map((keys) => (keys || "").split(" "));
    const mine = (await own()).filter((item) => item.job === Number(place.dataset.job));
    const all = mine.filter((item) => item.kind === "entry");
    const entry = all.filter((item) => !walked.includes(item.key)).at(-1);
    const key = entry ? entry.key : walked.at(-1);
    const answers = mine.filter((item) => item.kind === "answer" && item.key === key && !answered.includes(item.answer));
    const answer = answers.filter((item) => !item.refused).at(-1);
    return entry || answers.length ? { entry, answer, key, state: stateOf(entry, answer, answers) } : null;
  }

  function stateOf(entry, answer, answers) {
    if (entry && entry.refused) {
      return "refused";
    }
    if (entry && !entry.found) {
      return "nothing";
    }
    return answer ? answer.body.typed_name ? "acknowledged" : "away" : answers.length ? "refused" : "found";
  }

  // A walkthrough with its pictures and answers is forgotten once the page knows it and nothing is left to be shown.
  async function forgetKnown(place) {
    const walked = (place.dataset.walked || "").split(" ");
    const isSettled = (item) => place.dataset.open === "yes" || item.key !== walked.at(-1);
    const known = (await own()).filter((item) => item.went && item.job === Number(place.dataset.job))
      .filter((item) => item.kind !== "mark" && walked.includes(item.key) && isSettled(item));
    await forget(known.map((item) => item.id));
  }

  async function forgetOld() {
    const old = (await own()).filter((item) => item.went && Date.now() - Date.parse(item.at) > KEPT_MS);
    await forget(old.map((item) => item.id));
  }

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
  // Why it was not taken: of each value that was not accepted, or of the whole.
  async function problemOf(answer) {
    const { errors = [], detail } = await answer.json().catch(() => ({}));
    return errors.map((error) => error.detail).join(" ") || detail || String(answer.status);
  }

  // What a signal is enough for: not what was refused, nor what waits behind it.
  function rising(items) {
    const held = new Set();
    return items.filter((item) => !isHeld(item, held));
  }

  // Asked for while a round is on its way: one more round follows, and one wish for a fresh page is enough.
  let sending = false;
  let isAskedAgain = false;
  let isToReload = false;
  async function send(reload) {
    isToReload = isToReload || reload;
    isAskedAgain = sending;
    if (sending) {
      return;
    }
    sending = true;
    try {
      let went = 0;
      do {
        isAskedAgain = false;
        went += await navigator.locks.request("wallday-walkthroughs", sendAll);
      } while (isAskedAgain);
      if (went && isToReload && !isBusy() && !rising(await waiting()).length) {
        location.reload();
      } else {
        document.dispatchEvent(new Event("wallday:queue"));
      }
    } finally {
      sending = false;
      isToReload = false;
    }
  }

  // What others wait behind: pictures, answers and the start behind their walkthrough, the start behind its answer, a
  // stop's marks behind those before them.
  const isFirst = (item) => ["entry", "answer"].includes(item.kind);
  const MARKS = ["arrived", "started", "finished"];
  const markName = (item, kind) => `${item.path} ${kind}`;
  const marksBefore = (item) => item.kind === "mark"
    ? MARKS.slice(0, MARKS.indexOf(item.body.kind)).map((kind) => markName(item, kind)) : [];

  // Whether an entry was refused or waits behind one that was; `held` remembers it for those that come after.
  function isHeld(item, held) {
    const isStuck = Boolean(item.refused) || [item.key, ...marksBefore(item)].some((name) => held.has(name));
    if (isStuck && isFirst(item)) {
      held.add(item.key);
    } else if (isStuck && item.kind === "mark") {
      held.add(markName(item, item.body.kind));
    }
    return isStuck;
  }

  // One after the other; the first that finds no signal ends the round. What the server refuses is kept and said, and
  // what belongs to it stays behind it.
  async function sendAll() {
    let went = 0;
    let signIn = false;
    const held = new Set();
    for (const item of await waiting()) {
      if (isHeld(item, held)) {
        continue;
      }
      let answer;
      try {
        answer = await post(item);
      } catch {
        break;
      }
      if (answer.ok) {
        await (isStaying(item) ? change({ ...item, went: true }) : forget([item.id]));
        went += 1;
      } else if (answer.status === 401 || answer.status === 403) {
        signIn = true;
        break;
      } else if (answer.status >= 500 || answer.status === 429) {
        break;
      } else {
        const refused = { ...item, refused: await problemOf(answer) };
        await change(refused);
        isHeld(refused, held);
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
    const all = (await everything()).filter((item) => !item.went);
    const items = all.filter((item) => item.user === user);
    const waits = rising(items);
    const count = (...kinds) => waits.filter((item) => kinds.includes(item.kind)).length;
    const words = [];
    if (waits.length) {
      words.push(line(place.dataset.waits.replace("{w}", count("entry")).replace("{p}", count("photo"))
        .replace("{a}", count("answer")).replace("{s}", count("short", "mark"))));
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

  // Which house, when, and why; an entry can be put right with its pictures, or thrown away with them. A homeowner's answer
  // belongs to what was shown: it goes with its entry. Answers and marks can be sent again; the finish is put right on
  // its page, which shows what was entered.
  function refusedWords(item, items) {
    const time = new Date(item.at).toLocaleTimeString([], { hour: "numeric", minute: "2-digit" });
    const behind = item.kind === "entry" ? items.filter((one) => one.key === item.key && one.kind !== "mark") : [item];
    const buttons = document.createElement("div");
    buttons.className = "row";
    if (item.kind === "entry") {
      buttons.append(press(place.dataset.again, () => putRight(item, behind)));
    } else if (isStaying(item) && item.kind !== "photo") {
      if (item.page && item.page !== location.pathname) {
        buttons.append(press(place.dataset.again, () => location.assign(item.page)));
      }
      buttons.append(press(place.dataset.retry, async () => {
        await change({ ...item, refused: undefined });
        await send(true);
      }));
    }
    buttons.append(press(place.dataset.drop, async () => {
      await forget(behind.map((one) => one.id));
      await say(0, false);
      document.dispatchEvent(new Event("wallday:queue"));
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
  // A form that is being filled in is not loaded anew under the thumb.
  const busy = [];
  const isBusy = () => busy.some((tell) => tell());
  window.wallday = { user, store, keep, forget, own, send, sendUnkept, draftOf, houseOf, forgetKnown, busyWhen: (tell) => busy.push(tell) };

  forgetOld();
  window.addEventListener("online", () => send(true));
  window.setInterval(() => send(true), 30000);
  send(false);
})();
