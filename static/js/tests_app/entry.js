/* The few things the test pages do without the server.
   data-repeat-of="value"   a choice that repeats what the last test used: its note ([data-repeat-note="<id>"]) shows.
   data-drop                a field that takes a file dropped on it.
   data-send-again          a form handed back after the session ended: takes the fresh word against forgery from the cookie. */
(() => {
  "use strict";
  const repeats = (select) => {
    const note = document.querySelector(`[data-repeat-note="${select.id}"]`);
    if (note) note.hidden = select.value !== select.dataset.repeatOf;
  };
  for (const select of document.querySelectorAll("[data-repeat-of]")) {
    repeats(select);
    select.addEventListener("change", () => repeats(select));
  }

  const zone = (event) => event.target instanceof Element ? event.target.closest("[data-drop]") : null;
  for (const kind of ["dragenter", "dragover"]) {
    document.addEventListener(kind, (event) => {
      const here = zone(event);
      if (here) { event.preventDefault(); here.classList.add("is-over"); }
    });
  }
  document.addEventListener("dragleave", (event) => zone(event)?.classList.remove("is-over"));
  document.addEventListener("drop", (event) => {
    const here = zone(event);
    const input = here?.querySelector('input[type="file"]');
    if (!input || !event.dataTransfer?.files.length) return;
    event.preventDefault();
    here.classList.remove("is-over");
    input.files = event.dataTransfer.files;
    input.dispatchEvent(new Event("change", { bubbles: true }));
  });

  const cookie = (name) => document.cookie.split("; ").find((one) => one.startsWith(`${name}=`))?.slice(name.length + 1);
  for (const form of document.querySelectorAll("form[data-send-again]")) {
    form.addEventListener("submit", () => {
      const fresh = cookie(form.dataset.sendAgain);
      if (fresh) form.elements.csrfmiddlewaretoken.value = fresh;
    });
  }

  /* A refusal or a link may point into a closed disclosure: open what holds it. */
  const reveal = () => {
    const target = location.hash.length > 1 && document.getElementById(decodeURIComponent(location.hash.slice(1)));
    for (let holder = target && target.closest("details"); holder; holder = holder.parentElement?.closest("details")) holder.open = true;
    if (target) target.scrollIntoView();
  };
  addEventListener("hashchange", reveal);
  reveal();
})();
