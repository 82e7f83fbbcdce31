"use strict";
/* Draws each spark line from the path that its element carries. A picture in a style sheet would be decoded anew, and
   kept, at every change: hundreds of megabytes an hour. */
(function () {
  const SVG = "http://www.w3.org/2000/svg";

  function draw(element) {
    let line = element.firstElementChild && element.firstElementChild.firstElementChild;
    if (!line) {
      const box = document.createElementNS(SVG, "svg");
      box.setAttribute("viewBox", "0 0 120 28");
      box.setAttribute("preserveAspectRatio", "none");
      line = document.createElementNS(SVG, "path");
      line.setAttribute("vector-effect", "non-scaling-stroke");
      box.appendChild(line);
      element.appendChild(box);
    }
    if (line.getAttribute("d") !== element.dataset.path) {
      line.setAttribute("d", element.dataset.path);
    }
  }

  new MutationObserver(function (changes) {
    for (const change of changes) {
      if (change.type === "attributes") {
        draw(change.target);
        continue;
      }
      for (const added of change.addedNodes) {
        if (added.nodeType === Node.ELEMENT_NODE) {
          added.querySelectorAll("[data-path]").forEach(draw);
          if (added.dataset && added.dataset.path) {
            draw(added);
          }
        }
      }
    }
  }).observe(document.documentElement, { subtree: true, childList: true, attributes: true, attributeFilter: ["data-path"] });
})();
