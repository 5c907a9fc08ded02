/* The few things pages do without the server. No inline code anywhere: behaviour hangs on data attributes.
   data-opens="id"       a button that opens <dialog id>; data-closes on a button inside closes it.
   data-submits          a select or checkbox that sends its form when changed.
   data-keep             a form that warns before typed words are left behind.
   data-max-bytes="n"    on a file input: a file larger than that is refused at once, with words, before any sending;
                         data-megabyte on it says how many bytes the server counts for one.
   data-focus            takes the focus when the page arrives (the error summary).
   data-confirm="words"  a form or button that asks before it acts. */
(() => {
  "use strict";
  const changed = new WeakSet();

  document.addEventListener("click", (event) => {
    const opener = event.target.closest("[data-opens]");
    if (opener) document.getElementById(opener.dataset.opens)?.showModal();
    if (event.target.closest("[data-closes]")) event.target.closest("dialog")?.close();
    for (const menu of document.querySelectorAll("details.menu[open]")) {
      if (!menu.contains(event.target)) menu.open = false;
    }
  });

  document.addEventListener("keydown", (event) => {
    if (event.key !== "Escape") return;
    const menu = document.querySelector("details.menu[open]");
    if (menu) { menu.open = false; menu.querySelector("summary").focus(); }
  });

  const tooLarge = (input) => {
    const limit = Number(input.dataset.maxBytes);
    const file = [...input.files].find((one) => one.size > limit);
    const megabytes = (bytes) => (bytes / Number(input.dataset.megabyte)).toLocaleString("en", { maximumFractionDigits: 1 });
    const words = file
      ? `${file.name} is ${megabytes(file.size)} MB; at most ${megabytes(limit)} MB is taken. Export a shorter time or a lower rate from the recorder.`
      : "";
    input.setCustomValidity(words);
    sayBeside(input, words);
  };

  /* Words beside a field, where the server's own would stand. */
  const sayBeside = (input, words) => {
    const field = input.closest(".field");
    if (!field) return;
    for (const old of field.querySelectorAll(".errorlist")) old.remove();
    field.classList.toggle("has-error", words !== "");
    if (!words) return;
    const list = document.createElement("ul"), item = document.createElement("li");
    list.className = "errorlist";
    list.setAttribute("role", "alert");
    item.textContent = words;
    list.append(item);
    input.after(list);
  };

  /* Forms here are not checked by the browser (novalidate), so a file refused above is held back by hand. */
  const refused = (form) => [...form.querySelectorAll('input[type="file"]')].find((input) => input.validity.customError);

  document.addEventListener("change", (event) => {
    const input = event.target;
    if (input.type === "file" && input.dataset.maxBytes) tooLarge(input);
    if (input.matches("[data-submits]")) input.form?.requestSubmit();
  });

  document.addEventListener("input", (event) => {
    const form = event.target.closest("form[data-keep]");
    if (form) changed.add(form);
  });

  /* The server says by HX-Trigger that it has kept what a form holds. */
  document.addEventListener("kept", (event) => {
    const form = event.target instanceof Element ? event.target.closest("form") : null;
    if (form) changed.delete(form);
  });

  document.addEventListener("submit", (event) => {
    const held = refused(event.target);
    if (held) { event.preventDefault(); held.focus(); return; }
    const asked = event.submitter?.dataset.confirm ?? event.target.dataset.confirm;
    if (asked && !window.confirm(asked)) { event.preventDefault(); return; }
    changed.delete(event.target);
    if (event.target.method === "post" && !event.target.matches("[hx-post]")) {
      /* A second press sends a second test: the first is enough. Set after the browser has read the button. */
      setTimeout(() => event.submitter?.classList.add("is-sending"), 0);
      if (event.target.dataset.sent) event.preventDefault();
      else event.target.dataset.sent = "yes";
      setTimeout(() => { delete event.target.dataset.sent; event.submitter?.classList.remove("is-sending"); }, 15000);
    }
  });

  window.addEventListener("pageshow", () => {
    for (const form of document.querySelectorAll("form[data-sent]")) delete form.dataset.sent;
    for (const button of document.querySelectorAll(".is-sending")) button.classList.remove("is-sending");
  });

  window.addEventListener("beforeunload", (event) => {
    if ([...document.querySelectorAll("form[data-keep]")].some((form) => changed.has(form))) event.preventDefault();
  });

  const say = (words) => {
    const place = document.getElementById("messages");
    if (!place) return;
    const notice = document.createElement("div");
    notice.className = "notice tone-bad";
    notice.setAttribute("role", "alert");
    notice.textContent = words;
    place.replaceChildren(notice);
    notice.scrollIntoView({ block: "nearest" });
  };
  document.addEventListener("htmx:sendError", () => say("The server did not answer. Nothing was changed; what you typed is still here. Try again."));
  document.addEventListener("htmx:responseError", (event) => say(`The server refused this (${event.detail.xhr.status}). What you typed is still here. Reload the page, or try again.`));

  document.querySelector("[data-focus]")?.focus();
})();
