"use strict";
/* What would turn the call: sliders that work out the probability of conformity anew. */
(() => {
  const room = document.querySelector("[data-what-if]");
  if (!room) return;
  const cases = [...room.querySelectorAll("[data-case]")].map(read);
  const choice = room.querySelector("#w-case");
  const bell = room.querySelector("[data-bell]");
  const sliders = new Map();
  for (const input of room.querySelectorAll("[data-slider]")) sliders.set(input.dataset.slider, input);
  let now = cases[0];

  function read(element) {
    const d = element.dataset;
    return {
      name: d.name,
      unit: d.unit,
      value: Number(d.value),
      expanded: Number(d.expanded),
      lower: Number(d.lower),
      upper: Number(d.upper),
      factor: Number(d.factor),
      freedom: d.freedom === "" ? Infinity : Number(d.freedom),
      wanted: d.wanted === "" ? null : Number(d.wanted),
    };
  }

  function range(name, low, high, value) {
    const input = sliders.get(name);
    input.min = low;
    input.max = high;
    input.step = "any";
    input.value = value;
    input.dataset.step = (high - low) / 200;
  }

  function measured() {
    const width = now.upper - now.lower;
    const reach = Math.max(width, 3 * now.expanded);
    const low = Math.min(now.lower - 0.6 * reach, now.value - 0.5 * reach);
    const high = Math.max(now.upper + 0.6 * reach, now.value + 0.5 * reach);
    const middle = (now.lower + now.upper) / 2;
    range("value", low, high, now.value);
    range("expanded", 0, Math.max(2 * now.expanded, width), now.expanded);
    range("lower", low, middle, now.lower);
    range("upper", middle, high, now.upper);
    room.querySelector("[data-value-label]").textContent = `${now.name}, as read`;
    show();
  }

  /* "any" lets a slider rest where the reading is; arrow keys then need steps of their own. */
  function step(event) {
    const way = { ArrowRight: 1, ArrowUp: 1, ArrowLeft: -1, ArrowDown: -1, PageUp: 10, PageDown: -10 };
    if (!(event.key in way)) return;
    const input = event.currentTarget;
    event.preventDefault();
    input.value = Number(input.value) + way[event.key] * Number(input.dataset.step);
    show();
  }

  function set() {
    const at = {};
    for (const [name, input] of sliders) at[name] = Number(input.value);
    /* A slider gives back no more digits than it shows; what was not moved is what was read. */
    for (const name of Object.keys(at)) {
      if (Math.abs(at[name] - now[name]) < 1e-9) at[name] = now[name];
    }
    return at;
  }

  function percent(p) {
    if (p > 0.999) return "over 99.9 %";
    if (p < 0.001) return "under 0.1 %";
    return `${(100 * p).toFixed(1)} %`;
  }

  function show() {
    const at = set();
    const u = at.expanded / now.factor;
    const p = probability.inside(at.value, u, now.freedom, at.lower, at.upper);
    const accepted =
      now.wanted === null ? at.lower <= at.value && at.value <= at.upper : p >= now.wanted;
    const digits = now.unit === "mm" ? 3 : 2;
    for (const name of Object.keys(at)) {
      const text = `${name === "expanded" ? "± " : ""}${at[name].toFixed(digits)} ${now.unit}`;
      room.querySelector(`[data-of="${name}"]`).textContent = text;
      sliders.get(name).setAttribute("aria-valuetext", text);
    }
    const rule = now.wanted === null ? "" : ` The rule asks for ${(100 * now.wanted).toFixed(0)} %.`;
    const said = room.querySelector("[data-said]");
    said.textContent = `Conforms with ${percent(p)}: ${accepted ? "✔ accepted" : "◆ not accepted"}.${rule}`;
    said.dataset.probability = p;
    draw(at, u);
  }

  function part(name, attributes) {
    const element = document.createElementNS("http://www.w3.org/2000/svg", name);
    for (const [key, value] of Object.entries(attributes)) element.setAttribute(key, value);
    bell.append(element);
  }

  function draw(at, u) {
    bell.replaceChildren();
    const low = Number(sliders.get("value").min);
    const high = Number(sliders.get("value").max);
    const x = (v) => 6 + (468 * (v - low)) / (high - low);
    const y = (d) => 126 - 108 * d;
    const curve = [];
    const inside = [];
    const steps = 240;
    for (let i = 0; i <= steps && u > 0; i += 1) {
      const v = low + ((high - low) * i) / steps;
      curve.push([v, probability.density((v - at.value) / u, now.freedom)]);
    }
    for (const v of [at.lower, at.upper]) {
      if (u > 0) curve.push([v, probability.density((v - at.value) / u, now.freedom)]);
    }
    if (u > 0) curve.push([at.value, 1]);
    curve.sort((a, b) => a[0] - b[0]);
    for (const [v, d] of curve) if (v >= at.lower && v <= at.upper) inside.push([v, d]);
    const path = (points) => points.map(([v, d]) => `${x(v).toFixed(1)} ${y(d).toFixed(1)}`).join("L");
    if (inside.length > 1) {
      const ends = [inside[0][0], inside[inside.length - 1][0]].map((v) => x(v).toFixed(1));
      part("path", { class: "bell-inside", d: `M${ends[0]} 126L${path(inside)}L${ends[1]} 126Z` });
    }
    part("path", { class: "bell-axis", d: "M6 126H474" });
    if (curve.length > 1) part("path", { class: "bell-curve", d: `M${path(curve)}` });
    for (const v of [at.lower, at.upper]) {
      part("path", { class: "bell-limit", d: `M${x(v).toFixed(1)} 6V132` });
    }
    const ends = [at.value - at.expanded, at.value + at.expanded].map((v) => x(v).toFixed(1));
    part("path", { class: "bell-spread", d: `M${ends[0]} 140H${ends[1]}` });
    part("circle", { class: "plot-dot", cx: x(at.value).toFixed(1), cy: 140, r: 5 });
  }

  for (const input of sliders.values()) {
    input.addEventListener("input", show);
    input.addEventListener("keydown", step);
  }
  room.querySelector("[data-back]").addEventListener("click", measured);
  if (choice) {
    choice.value = "0";
    choice.addEventListener("change", () => {
      now = cases[Number(choice.value)];
      measured();
    });
  }
  room.hidden = false;
  measured();
})();
