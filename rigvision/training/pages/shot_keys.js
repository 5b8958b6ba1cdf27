"use strict";
/* Keys of a shot's page: next, previous, queue, overlay. Not while something is typed. */
document.addEventListener("keydown", (event) => {
  if (event.ctrlKey || event.metaKey || event.altKey) return;
  if (event.target.closest("input, select, textarea")) return;
  const key = event.key.toLowerCase();
  if (key === "o") {
    for (const viewer of document.querySelectorAll("[data-viewer]")) {
      viewer.dispatchEvent(new Event("viewer-overlay"));
    }
    return;
  }
  const link = document.querySelector(`a[data-key="${CSS.escape(key)}"]`);
  if (link) link.click();
});
