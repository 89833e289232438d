// What is wider than the screen can be scrolled with the keyboard; what is not is no stop on the way.
(function () {
  "use strict";
  const wide = document.querySelectorAll(".wide");
  function look() {
    wide.forEach(function (box) {
      if (box.scrollWidth > box.clientWidth + 1) {
        box.tabIndex = 0;
        box.setAttribute("role", "region");
        box.setAttribute("aria-label", "To be scrolled: " + box.dataset.title);
      } else {
        ["tabindex", "role", "aria-label"].forEach(function (name) { box.removeAttribute(name); });
      }
    });
  }
  // A link may lead into what is folded.
  function unfold() {
    const at = location.hash && document.getElementById(decodeURIComponent(location.hash.slice(1)));
    const around = at && at.closest("details");
    if (around) { around.open = true; at.scrollIntoView(); }
  }
  addEventListener("resize", look);
  addEventListener("hashchange", unfold);
  document.querySelectorAll("details").forEach(function (one) { one.addEventListener("toggle", look); });
  look();
  unfold();
})();
