/* Pressure plots. The server sends the whole plot as data; this puts it in place, in the colours of the page,
   and keeps the marks a person drags and the numbers in the form the same thing.
   data-plot="url"                 where a plot belongs.
   data-mark="mark-12"             the form with the numbers of that mark; its inputs carry data-mark-start and data-mark-end. */
(() => {
  "use strict";
  const TOKENS = { "#1b2327": "--ink", "#566167": "--soft", "#e3dfd4": "--line", "#fffffe": "--sheet", "#0e5561": "--accent",
    "#2a6639": "--good", "#a0201c": "--bad", "#7d5600": "--soon", "#8b9090": "--rule" };
  const boxes = new Map(); /* mark name -> [{box, offset}] : the same mark may stand on several plots */

  const recoloured = (text) => {
    const style = getComputedStyle(document.documentElement);
    return text.replace(/"#[0-9a-f]{6}"/g, (quoted) => {
      const token = TOKENS[quoted.slice(1, -1)];
      const value = token && style.getPropertyValue(token).trim();
      return value ? JSON.stringify(value) : quoted;
    });
  };

  const written = (seconds) => {
    const tenths = Math.max(0, Math.round(seconds * 10));
    const whole = Math.floor(tenths / 10), tenth = tenths % 10;
    const two = (number) => String(number).padStart(2, "0");
    return `${Math.floor(whole / 3600)}:${two(Math.floor(whole / 60) % 60)}:${two(whole % 60)}${tenth ? `.${tenth}` : ""}`;
  };

  const read = (text) => {
    const found = /^(?:(?:(\d{1,3}):)?(\d{1,4}):)?(\d{1,6}(?:[.,]\d{1,3})?)$/.exec(text.trim());
    return found ? Number(found[1] || 0) * 3600 + Number(found[2] || 0) * 60 + Number(found[3].replace(",", ".")) : null;
  };

  const formOf = (name) => document.querySelector(`form[data-mark="${name}"]`);
  const inputs = (form) => [form.querySelector("[data-mark-start]"), form.querySelector("[data-mark-end]")];
  let moving = false;

  const moved = (form) => {
    form.classList.add("is-moved");
    const note = form.querySelector("[data-moved-note]");
    if (note) note.hidden = false;
  };

  const boxMoved = (name, { box, offset }) => {
    const form = formOf(name);
    if (!form || moving) return;
    const [start, end] = inputs(form);
    start.value = written((box.left - offset) / 1000);
    end.value = written((box.right - offset) / 1000);
    moved(form);
    place(name, box);
  };

  const place = (name, except) => {
    const form = formOf(name);
    if (!form) return;
    const [start, end] = inputs(form).map((input) => read(input.value));
    if (start === null || end === null || end <= start) return;
    moving = true;
    for (const { box, offset } of boxes.get(name) || []) {
      if (box !== except) { box.left = offset + start * 1000; box.right = offset + end * 1000; }
    }
    moving = false;
  };

  document.addEventListener("input", (event) => {
    const form = event.target.closest("form[data-mark]");
    if (!form || !event.target.matches("[data-mark-start], [data-mark-end]")) return;
    moved(form);
    place(form.dataset.mark, null);
  });

  const adopt = (model, plot) => {
    for (const name of plot.marks) {
      const box = model.document.get_model_by_name(name);
      if (!box) continue;
      const entry = { box, offset: plot.offset };
      boxes.set(name, [...(boxes.get(name) || []), entry]);
      box.change.connect(() => boxMoved(name, entry));
      place(name, null);
    }
  };

  const say = (holder, words) => {
    const note = document.createElement("p");
    note.textContent = words;
    holder.replaceChildren(...holder.querySelectorAll("svg.still"), note);
    holder.classList.add("plot-failed");
  };

  /* A still curve of the server's stands in the place until the drawn one does; where there is none, words do. */
  const waiting = (holder) => {
    if (holder.querySelector("svg")) return;
    const words = document.createElement("p");
    words.className = "soft";
    words.textContent = "The plot is being drawn.";
    holder.replaceChildren(words);
  };

  const draw = async (holder) => {
    waiting(holder);
    try {
      const answer = await fetch(holder.dataset.plot, { headers: { Accept: "application/json" }, credentials: "same-origin" });
      if (!answer.ok) throw new Error(String(answer.status));
      const plot = JSON.parse(recoloured(await answer.text()));
      holder.replaceChildren();
      const views = await Bokeh.embed.embed_item(plot.item, holder.id);
      const [view] = Array.isArray(views) ? views : [...(views.roots ?? views)];
      adopt(view.model, plot);
      holder.dataset.drawn = "yes";
    } catch (error) {
      console.error(error);
      say(holder, "The plot could not be drawn. The figures beside it are complete without it; reload the page to try again.");
    }
  };

  const start = (root) => {
    const holders = [...root.querySelectorAll("[data-plot]:not([data-seen])")];
    const near = new IntersectionObserver((entries) => {
      for (const { target, isIntersecting } of entries) {
        if (isIntersecting) { near.unobserve(target); draw(target); }
      }
    }, { rootMargin: "400px" });
    for (const holder of holders) { holder.dataset.seen = "yes"; near.observe(holder); }
  };

  start(document);
  document.addEventListener("htmx:afterSettle", (event) => start(event.target));
})();
