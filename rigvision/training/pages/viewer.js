"use strict";
/* Photos that can be moved, zoomed to single pixels, and shown with or without their overlay. */
(() => {
  const MOST = 40; /* screen pixels a photo's pixel */
  const SINGLE = 16;

  function pairs(numbers) {
    const found = [];
    for (let i = 0; i + 1 < numbers.length; i += 2) found.push([numbers[i], numbers[i + 1]]);
    return found;
  }

  function setUp(viewer) {
    const stage = viewer.querySelector(".stage");
    const frame = viewer.querySelector(".frame");
    const overlay = viewer.querySelector(".overlay");
    const bar = viewer.querySelector(".viewer-bar");
    const output = viewer.querySelector(".viewer-scale");
    const whole = { w: Number(viewer.dataset.width), h: Number(viewer.dataset.height) };
    const gap = viewer.dataset.gap ? viewer.dataset.gap.split(" ").map(Number) : null;
    const stations = pairs((viewer.dataset.stations || "").trim().split(/\s+/).map(Number));
    const shape = whole.w / whole.h;
    let station = Math.floor(stations.length / 2);
    let at = { x: 0, y: 0, w: whole.w };
    let asked = false;

    /* Where the picture lies on the screen: a frame that is too high for it has empty sides. */
    function shown() {
      const box = frame.getBoundingClientRect();
      const width = Math.max(1, Math.min(box.width, box.height * shape));
      return {
        width,
        height: width / shape,
        left: box.left + (box.width - width) / 2,
        top: box.top + (box.height - width / shape) / 2,
      };
    }

    const least = () => Math.min(shown().width / MOST, whole.w);

    function placeOf(point) {
      const box = shown();
      return [(point.clientX - box.left) / box.width, (point.clientY - box.top) / box.height];
    }

    function keep() {
      at.w = Math.min(Math.max(at.w, least()), whole.w);
      const h = at.w / shape;
      at.x = Math.min(Math.max(at.x, 0), whole.w - at.w);
      at.y = Math.min(Math.max(at.y, 0), whole.h - h);
    }

    function paint() {
      asked = false;
      frame.setAttribute("viewBox", `${at.x} ${at.y} ${at.w} ${at.w / shape}`);
      const scale = shown().width / at.w;
      frame.classList.toggle("pixels", scale >= 2);
      stage.classList.toggle("zoomed", at.w < whole.w * 0.999);
      output.textContent =
        scale >= 1 ? `1 photo pixel is ${scale.toFixed(scale < 10 ? 1 : 0)} px` : `${Math.round(100 * scale)} %`;
      viewer.dataset.scale = scale.toFixed(3);
    }

    function show() {
      keep();
      if (!asked) {
        asked = true;
        requestAnimationFrame(paint);
      }
    }

    /* Zoom so that the point (fx, fy), in parts of the frame, stays where it is. */
    function zoom(factor, fx = 0.5, fy = 0.5) {
      const before = { w: at.w, h: at.w / shape };
      at.w = Math.min(Math.max(at.w / factor, least()), whole.w);
      at.x += fx * (before.w - at.w);
      at.y += fy * (before.h - at.w / shape);
      show();
    }

    function move(dx, dy) {
      at.x += dx * at.w;
      at.y += (dy * at.w) / shape;
      show();
    }

    function around(x, y, w) {
      at = { x: x - w / 2, y: y - w / shape / 2, w };
      show();
    }

    function stationBy(way) {
      station = Math.min(Math.max(station + way, 0), stations.length - 1);
      around(...stations[station], Math.min(at.w, whole.w / 4));
    }

    const middle = () => (stations.length ? stations[station] : gap ? [gap[0] + gap[2] / 2, gap[1] + gap[3] / 2] : [whole.w / 2, whole.h / 2]);
    const does = {
      whole: () => around(whole.w / 2, whole.h / 2, whole.w),
      gap: () => around(...middle(), gap ? gap[2] / 3 : whole.w),
      pixels: () => around(...middle(), shown().width / SINGLE),
      before: () => stations.length && stationBy(-1),
      after: () => stations.length && stationBy(1),
      in: () => zoom(1.5),
      out: () => zoom(1 / 1.5),
      overlay: () => {
        if (!overlay) return;
        const off = overlay.classList.toggle("off");
        bar.querySelector('[data-do="overlay"]').setAttribute("aria-pressed", String(!off));
      },
    };
    const keys = {
      "+": does.in, "=": does.in, "-": does.out, 0: does.whole,
      g: does.gap, x: does.pixels, "[": does.before, "]": does.after,
      ArrowLeft: () => move(-0.1, 0), ArrowRight: () => move(0.1, 0),
      ArrowUp: () => move(0, -0.1), ArrowDown: () => move(0, 0.1),
    };

    bar.addEventListener("click", (event) => {
      const button = event.target.closest("[data-do]");
      if (button) does[button.dataset.do]();
    });
    stage.addEventListener("keydown", (event) => {
      if (event.ctrlKey || event.metaKey || event.altKey || !(event.key in keys)) return;
      event.preventDefault();
      keys[event.key]();
    });
    viewer.addEventListener("viewer-overlay", does.overlay);
    stage.addEventListener("dblclick", (event) => {
      zoom(3, ...placeOf(event));
    });
    /* A wheel scrolls the page, unless the photo was chosen or Ctrl asks for zoom. */
    stage.addEventListener("wheel", (event) => {
      if (!event.ctrlKey && document.activeElement !== stage) return;
      event.preventDefault();
      zoom(Math.exp(-event.deltaY * 0.002), ...placeOf(event));
    }, { passive: false });

    const held = new Map();
    const apart = () => {
      const [a, b] = [...held.values()];
      return Math.hypot(a.x - b.x, a.y - b.y);
    };
    stage.addEventListener("pointerdown", (event) => {
      held.set(event.pointerId, { x: event.clientX, y: event.clientY });
      if (stage.classList.contains("zoomed") || event.pointerType === "mouse") {
        stage.setPointerCapture(event.pointerId);
        stage.classList.add("held");
      }
    });
    stage.addEventListener("pointermove", (event) => {
      const last = held.get(event.pointerId);
      if (!last) return;
      const box = shown();
      const place = { x: event.clientX, y: event.clientY };
      const before = held.size === 2 ? apart() : 0;
      held.set(event.pointerId, place);
      if (held.size === 2) {
        const [a, b] = [...held.values()];
        const between = { clientX: (a.x + b.x) / 2, clientY: (a.y + b.y) / 2 };
        zoom(apart() / Math.max(before, 1), ...placeOf(between));
      } else {
        move((last.x - place.x) / box.width, (last.y - place.y) / box.height);
      }
    });
    for (const end of ["pointerup", "pointercancel"]) {
      stage.addEventListener(end, (event) => {
        held.delete(event.pointerId);
        if (!held.size) stage.classList.remove("held");
      });
    }
    addEventListener("resize", show);
    bar.hidden = false;
    show();
  }

  document.querySelectorAll("[data-viewer]").forEach(setUp);
})();
