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

  /* data-when="field" data-values="a b": asked only while that field says one of these. */
  const asked = () => {
    for (const part of document.querySelectorAll("[data-when]")) {
      const decides = part.closest("form").elements[part.dataset.when];
      part.hidden = !part.dataset.values.split(" ").includes(decides.value);
    }
  };
  asked();
  document.addEventListener("change", asked);

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

  /* A browser writes a date as its owner's country does; 11/12 is read both ways on one rig. Said again in full. */
  const months = ["Jan", "Feb", "Mar", "Apr", "May", "Jun", "Jul", "Aug", "Sep", "Oct", "Nov", "Dec"];
  const saidAgain = (input) => {
    const found = /^(\d{4})-(\d\d)-(\d\d)T(\d\d:\d\d(?::\d\d)?)/.exec(input.value);
    return found ? `${Number(found[3])} ${months[Number(found[2]) - 1]} ${found[1]}, ${found[4]}` : "";
  };
  for (const input of document.querySelectorAll('input[type="datetime-local"]')) {
    const said = document.createElement("output");
    said.className = "said-again";
    said.htmlFor = input.id;
    input.after(said);
    const say = () => { said.textContent = saidAgain(input); };
    say();
    input.addEventListener("input", say);
  }

  const cookie = (name) => document.cookie.split("; ").find((one) => one.startsWith(`${name}=`))?.slice(name.length + 1);
  for (const form of document.querySelectorAll("form[data-send-again]")) {
    form.addEventListener("submit", () => {
      const fresh = cookie(form.dataset.sendAgain);
      if (fresh) form.elements.csrfmiddlewaretoken.value = fresh;
    });
  }

  /* A part that says itself what was refused takes its refusals like any other answer. */
  document.addEventListener("htmx:beforeSwap", (event) => {
    const { target, xhr } = event.detail;
    if (!target?.matches("[data-takes-refusals]") || ![409, 422].includes(xhr.status) || !xhr.responseText) return;
    event.detail.shouldSwap = true;
    event.detail.isError = false;
  });

  /* A refusal or a link may point into a closed disclosure: open what holds it. */
  const reveal = () => {
    const target = location.hash.length > 1 ? document.getElementById(location.hash.slice(1)) : null;
    for (let holder = target?.closest("details"); holder; holder = holder.parentElement?.closest("details")) holder.open = true;
    if (target) target.scrollIntoView();
  };
  addEventListener("hashchange", reveal);
  reveal();
})();
