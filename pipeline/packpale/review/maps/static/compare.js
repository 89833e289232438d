"use strict";
// Two coloured pictures side by side: each is cut off at a divider that is moved by hand or with the arrow keys.
packpale.compare = function (map, panel) {
  var select = document.getElementById("beside");
  if (!select) return;
  var divider = document.getElementById("divider"), slider = document.getElementById("divide");
  var right = null;

  // The slider's knob is 24 px wide and does not leave the map: its middle is where the pictures meet.
  function edge() { return 12 + (map.getSize().x - 24) * slider.value / 1000; }

  function clip(img, fromLeft, at) {
    var box = img.getBoundingClientRect(), from = map.getContainer().getBoundingClientRect().left;
    var share = Math.min(Math.max((from + at - box.left) / box.width, 0), 1) * 100;
    img.style.clipPath = fromLeft ? "inset(0 0 0 " + share + "%)" : "inset(0 " + (100 - share) + "% 0 0)";
  }

  function redraw() {
    var on = select.value !== "", at = edge();
    divider.hidden = !on;
    map.getContainer().querySelectorAll("img.picture").forEach(function (img) {
      if (on) clip(img, img.classList.contains("beside"), at); else img.style.clipPath = "";
    });
    document.getElementById("divide-line").style.left = at + "px";
    document.getElementById("left-name").style.right = "calc(100% - " + (at - 8) + "px)";
    document.getElementById("right-name").style.left = (at + 8) + "px";
  }

  function choose() {
    var one = packpale.data.pictures.find(function (picture) { return picture.name === select.value; });
    if (right) right.remove();
    right = one && packpale.picture(one, 2, "picture beside").addTo(map);
    names();
  }

  function names() {
    var left = panel.querySelector("input[name=picture]:checked").parentNode.textContent.trim();
    document.getElementById("left-name").textContent = left;
    document.getElementById("right-name").textContent = select.selectedOptions[0].textContent;
    slider.setAttribute("aria-valuetext", Math.round(slider.value / 10) + " % from the left: " + left + " to the left, "
      + select.selectedOptions[0].textContent + " to the right");
    redraw();
  }

  select.addEventListener("change", choose);
  slider.addEventListener("input", names);
  panel.addEventListener("change", names);
  map.on("move zoom zoomend moveend viewreset resize", redraw);
  packpale.divide = redraw;
  packpale.besides = function (name) { return select.value === name; };
};
