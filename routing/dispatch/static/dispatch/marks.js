// Arrived and started without a signal: one tap is kept on the phone with its time and goes up in order, behind the
// walkthrough and the homeowner's answer. Starting is shut until the phone knows that what was found is settled; the
// server judges again when it arrives. Finishing has a page of its own (finish.js); here it is shown.
"use strict";
(() => {
  const phone = window.wallday;
  const said = document.getElementById("mark-words");
  if (!phone || !said) {
    return;
  }
  const cards = [...document.querySelectorAll(".stop-card")].filter((card) => card.querySelector("[data-gate]"));
  const clock = (at) => new Date(at).toLocaleTimeString([], { hour: "numeric", minute: "2-digit" });
  const gateOf = (card) => card.querySelector("[data-gate]");
  const formsOf = (card) => [...card.querySelectorAll("form[data-mark]")];
  const wordsOf = (house) => (said.dataset[house.state] || "").replace("{name}", house.answer ? house.answer.body.typed_name : "");
  const isSettled = (house) => ["nothing", "acknowledged"].includes(house.state);

  // What the page says of the gate, or what this phone holds besides.
  async function drawGate(card) {
    const gate = gateOf(card);
    const house = await phone.houseOf(gate);
    const isOpen = house ? isSettled(house) : gate.dataset.open === "yes";
    if (house) {
      gate.hidden = false;
      gate.textContent = wordsOf(house);
      gate.className = isOpen ? "" : "strong warning-text";
    }
    return { isOpen, isAsked: !isOpen && !house && navigator.onLine, key: house ? house.key : "" };
  }

  async function draw(card) {
    const { isOpen, isAsked } = await drawGate(card);
    const finish = card.querySelector("a[data-finish]");
    if (!finish) {  // not of today
      return;
    }
    const forms = formsOf(card);
    const marks = (await phone.own()).filter((item) => item.kind === "mark" && item.path === finish.dataset.path);
    const items = marks.filter((item) => !item.refused);
    const made = items.map((item) => item.body.kind);
    const next = forms.find((form) => !made.includes(form.dataset.mark));
    forms.forEach((form) => {
      form.hidden = form !== next;
      const isShut = form.dataset.mark === "started" && !isOpen;
      const asksServer = isShut && isAsked && items.every((item) => item.went);  // not before the arrival is up
      form.toggleAttribute("data-asks-server", asksServer);
      form.querySelector("button").disabled = isShut && !asksServer;
    });
    finish.hidden = Boolean(next) || made.includes("finished");
    const isNew = (item) => item.body.kind === "finished" || forms.some((form) => form.dataset.mark === item.body.kind);
    const here = items.filter(isNew);
    const place = card.querySelector("[data-made]");
    place.textContent = here.map((item) => said.dataset[item.body.kind].replace("{time}", clock(item.at))).join(" · ");
    place.hidden = !here.length;
  }

  // The first stop of a route where something is left to be pressed has the dark button.
  function drawNext() {
    for (const route of new Set(cards.map((card) => card.closest("section")))) {
      const buttons = [...route.querySelectorAll("form[data-mark]:not([hidden]) > button, a[data-finish]:not([hidden])")];
      const isShut = (button) => button.disabled || button.matches("form[data-asks-server] > button");
      buttons.forEach((button, place) => button.classList.toggle("btn-quiet", place > 0 || isShut(button)));
    }
  }

  async function tapped(card, form) {
    const { isOpen, key } = await drawGate(card);
    const kind = form.dataset.mark;
    if (kind === "started" && !isOpen) {
      return;
    }
    const at = new Date().toISOString();
    const item = { user: phone.user, kind: "mark", at, label: form.dataset.label, path: form.dataset.path, body: { kind, at } };
    const isRefused = (one) => one.kind === "mark" && one.path === item.path && one.body.kind === kind && one.refused;
    const earlier = (await phone.own()).filter(isRefused);
    try {
      await phone.keep([{ ...item, key: kind === "started" ? key : "" }]);
      await phone.forget(earlier.map((one) => one.id));
    } catch {  // no room on the phone: sent as an ordinary form
      form.submit();
      return;
    }
    await drawAll();
    await phone.send(true);
  }

  // A time that was written down is for the server, which knows the yard's clock; so is, with a signal, a start that the
  // page would not allow: the office may have settled it meanwhile.
  for (const card of cards) {
    for (const form of formsOf(card)) {
      form.addEventListener("submit", async (event) => {
        if (form.elements.clock.value || "asksServer" in form.dataset) {
          return;
        }
        event.preventDefault();
        form.querySelector("button").disabled = true;
        await tapped(card, form);
      });
    }
  }
  const drawAll = () => Promise.all(cards.map(draw)).then(drawNext);
  document.addEventListener("wallday:queue", drawAll);
  window.addEventListener("online", drawAll);
  window.addEventListener("offline", drawAll);
  Promise.all(cards.map((card) => phone.forgetKnown(gateOf(card)))).then(drawAll);
})();
