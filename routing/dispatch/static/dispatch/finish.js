// Finishing a stop without a signal: what was entered is kept on the phone with the time of the tap and goes up behind
// the stop's start. What the server refuses comes back into the form with its time.
"use strict";
(() => {
  const form = document.querySelector("form[data-finish]");
  const phone = window.wallday;
  if (!form || !phone) {
    return;
  }
  const { path } = form.dataset;
  const lines = [...form.querySelectorAll("[data-line]")];
  const fieldOf = (line, name) => line.querySelector(`[name$=-${name}]`);
  const button = form.querySelector("button[type=submit]");
  const made = form.querySelector("[data-made]");
  const LONGEST_MINUTES = 1440;
  const marks = async () => (await phone.own()).filter((item) => item.kind === "mark" && item.path === path);
  const finishes = async () => (await marks()).filter((item) => item.body.kind === "finished");
  const keptFinish = async () => (await finishes()).filter((item) => !item.went).at(-1);

  // --- minutes from the clock: the page may have been kept hours ago ---
  // In proportion to the estimates, as the server shares them out: the largest remainders first, ties to the earlier.
  function sharesOf(total, estimates) {
    const weights = estimates.some((weight) => weight > 0) ? estimates : estimates.map(() => 1);
    const whole = weights.reduce((sum, weight) => sum + weight, 0);
    const parts = weights.map((weight) => Math.floor(total * weight / whole));
    const rest = total - parts.reduce((sum, part) => sum + part, 0);
    const largest = weights.map((weight, place) => [total * weight % whole, place])
      .sort(([one, i], [other, j]) => other - one || i - j);
    largest.slice(0, rest).forEach(([, place]) => { parts[place] += 1; });
    return parts;
  }

  async function fillMinutes() {
    const own = (await marks()).filter((item) => item.body.kind === "arrived" && !item.refused).at(-1);
    const arrived = form.dataset.arrived || (own ? own.at : "");
    const minutes = arrived ? Math.max(1, Math.round((Date.now() - Date.parse(arrived)) / 60000)) : 0;
    const isKnown = minutes > 0 && minutes <= LONGEST_MINUTES;
    const shares = sharesOf(minutes, lines.map((line) => Number(line.dataset.estimate)));
    lines.forEach((line, place) => { fieldOf(line, "minutes").value = isKnown ? shares[place] : ""; });
  }

  // --- what was entered ---
  const entered = () => [...form.elements].filter((field) => field.name && field.type !== "hidden")
    .map((field) => [field.name, field.value]);
  const restore = (draft) => draft.forEach(([name, value]) => { form.elements[name].value = value; });

  function bodyOf(at) {
    const amount = (field, times) => field.value === "" ? null : Math.round(Number(field.value) * times);
    return {
      kind: "finished", at, note: form.elements.note.value,
      lines: lines.map((line) => ({
        line: Number(line.dataset.line), minutes: amount(fieldOf(line, "minutes"), 1),
        materials_cents: amount(fieldOf(line, "materials_cents"), 100),
      })),
    };
  }

  async function keep() {
    const earlier = await keptFinish();
    const at = earlier ? earlier.at : new Date().toISOString();
    const item = { user: phone.user, kind: "mark", key: "", at, label: form.dataset.label, path, page: location.pathname };
    await phone.keep([{ ...item, body: bodyOf(at), draft: entered() }]);
    await phone.forget(earlier ? [earlier.id] : []);
  }

  // --- how far it is ---
  // Shut while it waits; left once it has gone up.
  async function look() {
    if ((await finishes()).some((item) => item.went)) {
      location.replace(form.dataset.back);
      return;
    }
    const item = await keptFinish();
    const isWaiting = Boolean(item) && !item.refused;
    const time = item ? new Date(item.at).toLocaleTimeString([], { hour: "numeric", minute: "2-digit" }) : "";
    made.textContent = form.dataset.words.replace("{time}", time);
    made.hidden = !isWaiting;
    button.disabled = isWaiting;
  }

  let isTouched = false;
  form.addEventListener("input", () => { isTouched = true; });
  phone.busyWhen(() => isTouched);

  // A weak signal may take long: the route is shown meanwhile.
  const A_WHILE_MS = 4000;
  const aWhile = () => new Promise((done) => { setTimeout(done, A_WHILE_MS); });

  // A time that was written down is for the server, which knows the yard's clock.
  form.addEventListener("submit", async (event) => {
    if (form.elements.clock.value) {
      return;
    }
    event.preventDefault();
    button.disabled = true;
    try {
      await keep();
    } catch {  // no room on the phone: sent as an ordinary form
      form.submit();
      return;
    }
    isTouched = false;
    await Promise.race([phone.send(false), aWhile()]);
    const item = await keptFinish();
    if (item && item.refused) {
      button.disabled = false;
      window.scrollTo(0, 0);
      return;
    }
    location.assign(form.dataset.back);
  });

  async function begin() {
    const item = await keptFinish();
    if (item) {
      restore(item.draft);
    } else if (form.dataset.fresh === "yes") {
      await fillMinutes();
    }
    await look();
  }
  document.addEventListener("wallday:queue", look);
  begin();
})();
