// The condition notice without a signal: put together on the phone from what was entered and photographed and from the
// sentences that came with the page, shown, and acknowledged there. The answer waits behind its walkthrough.
"use strict";
(() => {
  const place = document.getElementById("handover");
  const phone = window.wallday;
  if (!place || !phone) {
    return;
  }
  const given = JSON.parse(document.getElementById("sentences").textContent);
  const job = Number(place.dataset.job);
  const text = place.querySelector("[data-text]");
  const forms = [...place.querySelectorAll("form[data-language]")];
  const done = place.querySelector("[data-done]");
  const away = place.querySelector("form[data-away]");

  // --- what was found ---
  // The median, as the server takes it: between two middle spots up to the next half step.
  function readingOf(spots) {
    const sorted = spots.map(Number).sort((one, other) => one - other);
    const middle = sorted.length / 2;
    const median = (sorted[Math.ceil(middle) - 1] + sorted[Math.floor(middle)]) / 2;
    return Math.ceil(median * 2) / 2;
  }
  const isChalky = (body) => body.walls.some((wall) => readingOf(wall.spots) >= given.show_from);
  const isToBeShown = (body) => isChalky(body) || body.findings.length > 0;

  // --- in words, as the server words it ---
  const fill = (form, values) => form.replace(/%\((\w+)\)s/g, (_all, name) => values[name]);

  // Parts of a notice as { tag, text, picture }: `body` is an entry as it goes up, `pictures` what was photographed.
  function partsOf(language, body, pictures) {
    const { sentences, forms: lines, names } = given.languages[language];
    const wallOf = (where) => where.wall ? names.walls[where.wall] : names.new_walls[where.name] || where.name;
    const at = (where, what) => where.wall || where.name ? fill(lines.at_wall, { wall: wallOf(where), what }) : what;
    const found = [
      ...body.walls.map((wall) => {
        const reading = readingOf(wall.spots);
        return fill(lines.wall, { wall: wallOf(wall), reading: String(reading), words: names.scale[Math.ceil(reading)] });
      }),
      ...body.left_out.map((wall) => fill(lines.left_out, { wall: wallOf(wall), why: names.reasons[wall.reason] })),
      ...body.findings.map((one) => {
        const what = names.findings[one.kind];
        return at(one, one.note ? fill(lines.with_note, { what, note: one.note }) : what);
      }),
    ];
    const shown = pictures.map((picture, index) => {
      const named = fill(lines.picture, { number: String(index + 1) });
      const wall = wallOf(picture.where);
      const words = wall ? fill(lines.picture_at, { picture: named, wall }) : named;
      return { tag: "p", text: picture.isDrawn ? words : fill(lines.not_drawn, { picture: words }), picture };
    });
    const listed = (tag, all) => all.map((one) => ({ tag, text: one }));
    const day = names.days[body.walked_on] || body.walked_on;
    return [
      ...listed("h2", [sentences.title]),
      ...listed("p", [fill(lines.place, { address: names.address, day })]),
      ...listed("h3", [sentences.found_title]), ...listed("li", found),
      ...(isChalky(body) ? [
        ...listed("h3", [sentences.chalk_title]), ...listed("p", sentences.chalk),
        ...listed("h3", [sentences.removal_title]), ...listed("p", sentences.removal),
      ] : []),
      ...(shown.length ? [...listed("h3", [sentences.pictures_title]), ...shown] : []),
      ...listed("p", [sentences.footer]),
    ].filter((part) => part.text);
  }

  // --- pictures: each once, with the digest of what goes up, and whether this browser can draw it ---
  const MOST_PIXELS = 1000;
  const hex = (buffer) => [...new Uint8Array(buffer)].map((byte) => byte.toString(16).padStart(2, "0")).join("");

  async function drawn(item) {
    const digest = hex(await crypto.subtle.digest("SHA-256", item.body));
    const canvas = document.createElement("canvas");
    try {
      const image = await createImageBitmap(new Blob([item.body]));
      const scale = Math.min(1, MOST_PIXELS / Math.max(image.width, image.height));
      Object.assign(canvas, { width: Math.round(image.width * scale), height: Math.round(image.height * scale) });
      canvas.getContext("2d").drawImage(image, 0, 0, canvas.width, canvas.height);
      image.close();
      return { where: item.where, digest, isDrawn: true, canvas };
    } catch {
      return { where: item.where, digest, isDrawn: false, canvas };
    }
  }

  async function picturesOf(key) {
    const items = (await phone.own()).filter((item) => item.kind === "photo" && item.key === key && !item.refused);
    const all = await Promise.all(items.map(drawn));
    return all.filter((one, index) => all.findIndex((other) => other.digest === one.digest) === index);
  }

  // --- on the screen ---
  let shown = null;  // the house, its entry and pictures, as they are on the screen
  let language = given.languages[place.dataset.language] ? place.dataset.language : Object.keys(given.languages)[0];

  function draw() {
    let list = null;
    const rows = [];
    for (const part of partsOf(language, shown.entry.body, shown.pictures)) {
      const element = Object.assign(document.createElement(part.tag), { textContent: part.text });
      element.dataset.line = "";
      if (part.tag === "li") {
        list = list || document.createElement("ul");
        list.append(element);
        rows.push(...(rows.includes(list) ? [] : [list]));
      } else {
        rows.push(...(part.picture && part.picture.isDrawn ? [part.picture.canvas] : []), element);
      }
    }
    text.replaceChildren(...rows);
    text.lang = language;
    forms.forEach((form) => {
      form.hidden = form.dataset.language !== language;
      form.querySelector("[data-wish]").hidden = !(given.asks_removal && isChalky(shown.entry.body));
    });
    place.querySelectorAll("button[data-show]").forEach((button) => {
      button.setAttribute("aria-pressed", String(button.dataset.show === language));
    });
  }

  const words = (house) => ({
    acknowledged: () => place.dataset.acknowledged.replace("{name}", house.answer.body.typed_name),
    away: () => place.dataset.away,
  }[house.state] || (() => ""))();

  // Shown while the server does not know the walkthrough, and without a signal also where it has not been answered yet.
  async function look() {
    const house = await phone.houseOf(place) || (navigator.onLine ? null : await knownHouse());
    const isOpen = Boolean(house && house.entry && house.state === "found");
    if (isOpen && (!shown || shown.entry.key !== house.key)) {
      shown = { entry: house.entry, pictures: await picturesOf(house.key) };
      draw();
    }
    place.hidden = !house || !["found", "acknowledged", "away"].includes(house.state);
    place.querySelector("[data-asked]").hidden = !isOpen;
    done.textContent = house ? words(house) : "";
    done.hidden = !done.textContent;
    document.querySelector("[data-gate-words]").hidden = Boolean(house);
  }

  // A walkthrough that went up while its notice is not settled by the page.
  async function knownHouse() {
    const key = place.dataset.walked.split(" ").at(-1);
    const entry = (await phone.own()).filter((item) => item.kind === "entry" && item.key === key).at(-1);
    const isAsked = entry && entry.found && place.dataset.open !== "yes";
    return isAsked ? { entry, key, state: "found" } : null;
  }

  place.querySelectorAll("button[data-show]").forEach((button) => button.addEventListener("click", () => {
    language = button.dataset.show;
    draw();
  }));

  // --- answers ---
  const problem = place.querySelector("[data-problem]");
  async function keep(kind, body) {
    const common = { user: phone.user, job, key: shown.entry.key, at: body.at, label: shown.entry.label };
    try {
      await phone.keep([{ ...common, kind: "answer", answer: body.key, path: `/api/walkthroughs/${common.key}/${kind}/`, body }]);
    } catch {
      problem.hidden = false;
      return;
    }
    forms.forEach((form) => form.reset());
    await look();
    place.scrollIntoView();
    await phone.send(true);
  }
  const started = () => ({ key: crypto.randomUUID(), job, at: new Date().toISOString() });
  const once = (form, work) => form.addEventListener("submit", async (event) => {
    event.preventDefault();
    const button = form.querySelector("button[type=submit]");
    if (!button.disabled) {
      button.disabled = true;
      await work(new FormData(form));
      button.disabled = false;
    }
  });

  // The text is read from the screen: what is kept is what was seen.
  forms.forEach((form) => once(form, (data) => keep("acknowledgement", {
    ...started(),
    language,
    typed_name: data.get("typed_name"),
    statement: form.querySelector("[data-statement]").textContent.trim(),
    text: [...text.querySelectorAll("[data-line]")].map((line) => line.textContent).join("\n"),
    pictures: shown.pictures.filter((picture) => picture.isDrawn).map((picture) => picture.digest),
    wants_removal: data.has("wants_removal"),
  })));
  once(away, (data) => keep("nobody-home", { ...started(), sent_how: data.get("sent_how"), note: data.get("note") }));

  Object.assign(phone, { readingOf, isToBeShown });
  phone.busyWhen(() => !place.hidden && forms.some((form) => form.elements.typed_name.value.trim() !== ""));
  for (const event of ["online", "offline"]) {
    window.addEventListener(event, look);
  }
  document.addEventListener("wallday:queue", look);
  phone.forgetKnown(place).then(look);
})();
