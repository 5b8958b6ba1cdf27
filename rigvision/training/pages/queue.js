"use strict";
/* The queue: filter, sort, move by keys. Without this script it is the whole list, in its order. */
(() => {
  const form = document.querySelector("[data-filters]");
  const queue = document.querySelector("#queue");
  if (!form || !queue) return;
  const cards = [...queue.querySelectorAll("[data-card]")];
  const none = document.querySelector("[data-none]");
  const count = document.querySelector("[data-count]");
  const field = (name) => form.querySelector(`#f-${name}`).value;

  const orders = {
    place: (a, b) => a.place - b.place,
    newest: (a, b) => compare(b.time, a.time) || a.place - b.place,
    oldest: (a, b) => compare(a.time, b.time) || a.place - b.place,
    gap: (a, b) => gap(b) - gap(a) || a.place - b.place,
    door: (a, b) => a.door.localeCompare(b.door, "en", { numeric: true }) || compare(a.time, b.time),
  };

  function compare(a, b) {
    return a < b ? -1 : a > b ? 1 : 0;
  }

  function gap(d) {
    return d.gap === "" ? -Infinity : Number(d.gap);
  }

  function ruling(d, wanted) {
    if (wanted === "none") return d.ruling === "";
    if (wanted === "some") return d.ruling !== "";
    return wanted !== "other" || (d.ruling !== "" && d.ruling !== d.verdict);
  }

  function fits(d, words) {
    const same = (name, value) => value === "" || d[name] === value;
    return (
      same("verdict", field("verdict")) && same("border", field("border")) &&
      same("stage", field("stage")) && same("gauge", field("gauge")) &&
      ruling(d, field("ruling")) && words.every((word) => d.words.includes(word))
    );
  }

  function show() {
    const words = field("text").toLowerCase().split(/\s+/).filter(Boolean);
    const order = orders[field("sort")] || orders.place;
    let shown = 0;
    for (const card of cards) {
      card.hidden = !fits(card.dataset, words);
      if (!card.hidden) shown += 1;
    }
    cards.sort((a, b) => order(a.dataset, b.dataset));
    queue.append(...cards);
    count.textContent = shown === cards.length ? `${shown} shots.` : `${shown} of ${cards.length} shots.`;
    none.hidden = shown > 0;
  }

  const ways = { ArrowDown: 1, ArrowUp: -1 };
  queue.addEventListener("keydown", (event) => {
    const links = cards.filter((c) => !c.hidden).map((c) => c.querySelector("[data-open]"));
    let at = links.indexOf(document.activeElement);
    if (event.key in ways) at += ways[event.key];
    else if (event.key === "Home") at = 0;
    else if (event.key === "End") at = links.length - 1;
    else return;
    event.preventDefault();
    const link = links[Math.min(Math.max(at, 0), links.length - 1)];
    if (link) link.focus();
  });
  form.addEventListener("input", show);
  form.addEventListener("submit", (event) => event.preventDefault());
  form.addEventListener("reset", () => setTimeout(show));
  document.querySelector("[data-all]").addEventListener("click", () => form.reset());
  form.hidden = false;
  document.querySelector("[data-hint]").hidden = false;
  /* Going back, a browser puts the filters as they were. */
  addEventListener("pageshow", show);
  show();
})();
