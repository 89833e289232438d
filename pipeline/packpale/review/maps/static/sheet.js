"use strict";
// Print: the map becomes a sheet with title, what is shown and its legend, scale and north; afterwards it is as before.
packpale.sheet = function (map) {
  var panel = document.getElementById("panel"), shown = null, wasOpen = true;

  function lay() {
    if (shown) return;
    shown = map.getBounds();
    // What the panel hid of the map is not asked for on paper.
    if (panel.open && !packpale.narrow()) {
      var size = map.getSize();
      shown = L.latLngBounds(map.containerPointToLatLng([panel.offsetWidth + 12, size.y]), map.containerPointToLatLng([size.x, 0]));
    }
    if (packpale.trying && !packpale.narrow()) {
      shown = L.latLngBounds(map.containerPointToLatLng([0, map.getSize().y]),
        map.containerPointToLatLng([map.getSize().x - document.getElementById("another").offsetWidth - 24, 0]));
    }
    wasOpen = panel.open;
    panel.open = true;
    document.body.classList.add("sheet");
    map.invalidateSize({animate: false});
    map.fitBounds(shown, {animate: false});
  }
  function back() {
    if (!shown) return;
    document.body.classList.remove("sheet");
    panel.open = wasOpen;
    map.invalidateSize({animate: false});
    map.fitBounds(shown, {animate: false, paddingTopLeft: packpale.beside()});
    shown = null;
  }
  window.addEventListener("beforeprint", lay);
  window.addEventListener("afterprint", back);
  document.getElementById("to-print").addEventListener("click", function () { window.print(); });
};
