// The form of a walkthrough on the phone: what was pressed and photographed survives a page that is closed; what is missing
// is said before it is kept; then it is handed to phone.js.
"use strict";
(() => {
  const form = document.querySelector("form[data-walkthrough]");
  const phone = window.wallday;
  if (!form || !phone) {
    return;
  }
  const job = Number(form.dataset.walkthrough);
  const draft = phone.draftOf(job);
  const places = [...form.querySelectorAll("[data-place]")];
  const walls = [...form.querySelectorAll("[data-wall]")];
  const LEAST = 3;

  // --- what was pressed ---
  const fields = () => [...form.elements].filter((field) => field.name && !["hidden", "file", "submit"].includes(field.type));
  const isPress = (field) => ["radio", "checkbox"].includes(field.type);
  const pressedFields = () => fields().filter((field) => isPress(field) ? field.checked : field.value)
    .map((field) => [field.name, field.value]);

  function keepDraft() {
    try {
      localStorage.setItem(draft, JSON.stringify(pressedFields()));
    } catch {  // no room: it stays on the page
    }
  }

  function restoreDraft() {
    const kept = JSON.parse(localStorage.getItem(draft) || "[]");
    for (const field of fields()) {
      const values = kept.filter(([name]) => name === field.name).map(([, value]) => value);
      if (isPress(field)) {
        field.checked = field.checked || values.includes(field.value);
      } else if (values.length && !field.value) {
        [field.value] = values;
      }
    }
    if (kept.length) {
      form.closest("details").open = true;
    }
  }

  // A second tap takes a button back, which radio buttons do not do by themselves.
  const down = new Map();
  const remember = () => fields().filter((field) => field.type === "radio").forEach((radio) => {
    if (radio.checked) {
      down.set(radio.name, radio);
    } else if (down.get(radio.name) === radio) {
      down.delete(radio.name);
    }
  });
  form.addEventListener("click", (event) => {
    const radio = event.target;
    if (radio.type === "radio" && down.get(radio.name) === radio) {
      radio.checked = false;
      changed(radio);
    }
  });

  // --- walls ---
  const numberOf = (wall, name) => form.querySelector(`[name="${wall.dataset.place}_${name}"]:checked`);

  function spotsOf(wall) {
    const spots = [];
    for (let number = 0; number < 9; number += 1) {
      const grade = numberOf(wall, number);
      if (grade) {
        spots.push(grade.value + (numberOf(wall, `${number}_half`) && grade.value !== "5" ? ".5" : ""));
      }
    }
    return spots;
  }

  function showReading(wall) {
    const spots = spotsOf(wall);
    const isAsked = wall.classList.toggle("wall-open", wall.classList.contains("wall-open") && isOpen(wall));
    const count = spots.length || isAsked ? `${spots.length} / ${LEAST}` : "";
    wall.querySelector("[data-reading]").textContent = spots.length < LEAST ? count : String(phone.readingOf(spots));
  }

  const isOpen = (wall) => {
    const spots = spotsOf(wall).length;
    return spots < LEAST && (spots > 0 || ("needed" in wall.dataset && !numberOf(wall, "out")));
  };

  // Spots and a reason against them exclude each other: the later one counts.
  function changed(field) {
    const wall = field.closest("[data-wall]");
    if (wall && field.checked && /_(out|\d)$/.test(field.name)) {
      const isReason = field.name.endsWith("_out");
      fields().filter((other) => other.closest("[data-wall]") === wall && isPress(other) && other.checked)
        .filter((other) => isReason ? /_\d(_half)?$/.test(other.name) : other.name.endsWith("_out"))
        .forEach((other) => { other.checked = false; });
    }
    if (wall) {
      showReading(wall);
    }
    remember();
    unkept = null;
    keepDraft();
  }

  // --- pictures: each is kept on the phone as soon as it was taken ---
  const pictures = [];
  const placeOf = (picture) => places.find((place) => place.dataset.place === picture.place) || places[places.length - 1];

  const say = (place, text) => {
    const words = Object.assign(document.createElement("p"), { className: "errors", textContent: text });
    words.setAttribute("role", "alert");
    place.querySelector("[data-chosen]").append(words);
  };

  // A small drawing of the picture; the name for what browsers do not draw, such as HEIC.
  async function drawn(picture) {
    const canvas = Object.assign(document.createElement("canvas"), { width: 96, height: 96 });
    canvas.setAttribute("role", "img");
    canvas.setAttribute("aria-label", picture.name);
    try {
      const image = await createImageBitmap(new Blob([picture.body]));
      const side = Math.min(image.width, image.height);
      const [left, top] = [(image.width - side) / 2, (image.height - side) / 2];
      canvas.getContext("2d").drawImage(image, left, top, side, side, 0, 0, 96, 96);
      image.close();
      return canvas;
    } catch {
      return Object.assign(document.createElement("span"), { textContent: picture.name });
    }
  }

  async function show(place, picture) {
    pictures.push(picture);
    const figure = document.createElement("figure");
    const away = Object.assign(document.createElement("button"), { type: "button", className: "btn btn-quiet", textContent: "×" });
    away.setAttribute("aria-label", `${form.dataset.remove}: ${picture.name}`);
    away.addEventListener("click", async () => {
      pictures.splice(pictures.indexOf(picture), 1);
      figure.remove();
      unkept = null;
      if (picture.id) {
        await phone.store("readwrite", (_queue, kept) => kept.delete(picture.id));
      }
    });
    place.querySelector("[data-chosen]").append(figure);
    figure.append(await drawn(picture), away);
  }

  async function take(place, file) {
    if (file.size > Number(form.dataset.mostBytes)) {
      say(place, form.dataset.tooLarge.replace("{name}", file.name));
      return;
    }
    if (pictures.length >= Number(form.dataset.mostPhotos)) {
      say(place, form.dataset.tooMany);
      return;
    }
    const picture = { user: phone.user, job, place: place.dataset.place, name: file.name, body: await file.arrayBuffer() };
    try {
      picture.id = await phone.store("readwrite", (_queue, kept) => kept.add({ ...picture }));
    } catch {
      say(place, form.dataset.keptNot);
    }
    await show(place, picture);
  }

  for (const place of places) {
    const input = place.querySelector("input[type=file]");
    input.addEventListener("change", async () => {
      const files = [...input.files];
      input.value = "";
      unkept = null;
      place.querySelectorAll("[data-chosen] .errors").forEach((words) => words.remove());
      for (const file of files) {
        await take(place, file);
      }
    });
  }

  async function restorePictures() {
    const kept = await phone.store("readonly", (_queue, rows) => rows.getAll());
    for (const picture of kept.filter((one) => one.user === phone.user && one.job === job)) {
      await show(placeOf(picture), picture);
    }
  }

  // --- the form as an entry ---
  const where = (place) => {
    const field = place.dataset.place;
    return field[0] === "w" ? { wall: Number(field.slice(1)) } : place.dataset.name ? { name: place.dataset.name } : {};
  };

  function missingWords() {
    const open = walls.filter(isOpen);
    const unsaid = [...form.querySelectorAll("[data-kind=other]")]
      .filter((row) => row.querySelector(":checked") && !row.querySelector("[maxlength]").value.trim());
    const names = open.map((wall) => wall.querySelector("h2").textContent).join(", ");
    return {
      words: [...(open.length ? [form.dataset.missing.replace("{walls}", names)] : []), ...(unsaid.length ? [form.dataset.other] : [])],
      first: open[0] || unsaid[0],
    };
  }

  function entryOf() {
    const data = new FormData(form);
    const number = (name) => data.get(name) ? Number(data.get(name)) : null;
    const tested = walls.map((wall) => ({ ...where(wall), spots: spotsOf(wall) })).filter((wall) => wall.spots.length);
    const leftOut = walls.filter((wall) => numberOf(wall, "out")).map((wall) => ({ ...where(wall), reason: numberOf(wall, "out").value }));
    const findings = places.flatMap((place) => [...place.querySelectorAll("[data-finding]")]
      .filter((row) => row.querySelector(":checked"))
      .map((row) => ({ ...where(place), kind: row.dataset.kind, note: row.querySelector("[maxlength]").value.trim() })));
    return {
      key: crypto.randomUUID(), job, walked_on: new Intl.DateTimeFormat("en-CA", { timeZone: form.dataset.zone }).format(new Date()),
      walls: tested, left_out: leftOut, findings, days_since_rain: number("days_since_rain"), photo_count: pictures.length,
      front_degrees: number("front_degrees"), video_url: data.get("video_url") || "", note: data.get("note") || "",
    };
  }

  function itemsOf() {
    const body = entryOf();
    const common = { user: phone.user, job, key: body.key, at: new Date().toISOString(), label: form.dataset.label };
    return [
      { ...common, kind: "entry", body, found: phone.isToBeShown(body), draft: pressedFields(), page: location.pathname },
      ...pictures.map((picture) => ({
        ...common, kind: "photo", photo: crypto.randomUUID(), name: picture.name, place: picture.place, body: picture.body,
        label: `${common.label}, ${picture.name}`,
        where: where(placeOf(picture)),
      })),
    ];
  }

  // What could not be kept and did not go up: sent again under the same keys as long as nothing was changed.
  let unkept = null;
  const missing = document.getElementById("missing");
  const tell = (words) => {
    missing.replaceChildren(...words.map((text) => Object.assign(document.createElement("p"), { textContent: text })));
    missing.hidden = !words.length;
  };

  // Returns what is wrong, or nothing.
  async function handOver() {
    const items = unkept || itemsOf();
    const used = pictures.map((picture) => picture.id).filter(Boolean);
    try {
      await phone.keep(items, used);
      return "";
    } catch {
      unkept = items;
    }
    const problem = await phone.sendUnkept(items, form.dataset.noRoom);
    if (!problem) {
      await phone.keep([], used);
    }
    return problem;
  }

  let isHandingOver = false;
  form.addEventListener("submit", async (event) => {
    event.preventDefault();
    const { words, first } = missingWords();
    tell(words);
    walls.filter(isOpen).forEach((wall) => {
      wall.classList.add("wall-open");
      showReading(wall);
    });
    if (first) {
      first.scrollIntoView();
    }
    if (words.length || isHandingOver) {
      return;
    }
    isHandingOver = true;
    const problem = await handOver();
    isHandingOver = false;
    if (problem) {
      tell([problem]);
      return;
    }
    const wasSent = unkept !== null;
    empty();
    await phone.send(true);
    if (wasSent) {
      location.reload();
    }
  });

  function empty() {
    localStorage.removeItem(draft);
    pictures.length = 0;
    form.reset();
    form.closest("details").open = false;
    form.querySelectorAll("[data-chosen]").forEach((chosen) => chosen.replaceChildren());
    walls.forEach(showReading);
    remember();
    window.scrollTo(0, 0);
  }

  restoreDraft();
  remember();
  walls.forEach(showReading);
  form.addEventListener("change", (event) => changed(event.target));
  form.addEventListener("input", keepDraft);
  restorePictures();
  phone.busyWhen(() => localStorage.getItem(draft) !== null || pictures.length > 0);
})();
