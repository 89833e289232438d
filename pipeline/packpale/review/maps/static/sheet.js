"use strict";
// Print: the map becomes a sheet with title, what is shown and its legend, scale and north; afterwards it is as before.
packpale.sheet = function (map) {
  var panel = document.getElementById("panel"), shown = null, wasOpen = true;

  function lay() {
    if (shown) return;
    // What the panel and the figures of another line hid of the map is not asked for on paper.
    var size = map.getSize(), wide = !packpale.narrow(), west = wide && panel.open ? panel.offsetWidth + 12 : 0;
    var east = size.x - (wide && packpale.trying ? document.getElementById("another").offsetWidth + 24 : 0);
    shown = L.latLngBounds(map.containerPointToLatLng([west, size.y]), map.containerPointToLatLng([east, 0]));
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
