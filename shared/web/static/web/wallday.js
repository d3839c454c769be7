// Small help for the pages; each of them works without it. Nothing here decides anything.
"use strict";

// A button or form with data-confirm asks before it is sent.
document.addEventListener("submit", (event) => {
  const asked = event.submitter?.dataset.confirm ?? event.target.dataset.confirm;
  if (asked && !window.confirm(asked)) {
    event.preventDefault();
    event.stopPropagation();
  }
}, true);

// A list with data-autosubmit sends its form when another entry is chosen; the form keeps its button for others.
document.addEventListener("change", (event) => {
  if (event.target.matches("select[data-autosubmit], input[data-autosubmit]")) {
    event.target.form.requestSubmit();
  }
});

// A button with data-print opens the print window.
document.addEventListener("click", (event) => {
  if (event.target.closest("[data-print]")) {
    window.print();
  }
});

// What is folded on the page is open on paper, where a part of the work is told in it (data-on-paper).
for (const [event, open] of [["beforeprint", true], ["afterprint", false]]) {
  window.addEventListener(event, () => {
    document.querySelectorAll("details[data-on-paper]").forEach((part) => { part.open = open; });
  });
}

// After a part of the page was replaced, its errors take the focus so that they are read out.
document.addEventListener("htmx:afterSwap", (event) => {
  const wrong = event.target.querySelector(".form-errors[tabindex], [aria-invalid=true]");
  if (wrong) {
    wrong.focus();
  }
});
