"use strict";
// The list of what stands on the line by letter; one key opens it, and each entry leads to its place.
packpale.places = function (map) {
  var box = document.getElementById("places"), panel = document.getElementById("panel"), list = box.querySelector("ol");
  var listed = packpale.data.layers.filter(function (layer) { return layer.signed; });
  listed.forEach(function (one) {
    one.group.eachLayer(function (layer) {
      var told = layer.feature.properties, entry = document.createElement("button");
      entry.type = "button";
      // Values enter as text, so that no name can become markup.
      entry.textContent = told.sign + " " + told.title + told.rows.map(function (row) { return ", " + row[1]; }).join("");
      entry.addEventListener("click", function () {
        if (packpale.narrow()) panel.open = false;
        map.setView(layer.getLatLng(), Math.max(map.getZoom(), 18), {animate: false});
        packpale.ask(map, layer.getLatLng(), told);
      });
      list.appendChild(document.createElement("li")).appendChild(entry);
    });
  });
  // Of signs that would lie over one another the first stays, and the others wait for a nearer view.
  function tidy() {
    var taken = [];
    listed.forEach(function (one) {
      one.group.eachLayer(function (layer) {
        var at = map.latLngToContainerPoint(layer.getLatLng()), wide = 6 + 4 * layer.feature.properties.sign.length;
        var box = L.bounds(at.subtract([wide, 10]), at.add([wide, 10]));
        var free = !taken.some(function (other) { return other.intersects(box); });
        if (free) taken.push(box);
        if (layer.getElement()) layer.getElement().classList.toggle("waits", !free);
      });
    });
  }
  map.on("zoomend resize layeradd", function () { window.requestAnimationFrame(tidy); });
  tidy();
  box.hidden = !list.firstChild;
  document.addEventListener("keydown", function (event) {
    var typing = /^(input|select|textarea)$/i.test(event.target.tagName) && event.target.type !== "radio" && event.target.type !== "checkbox";
    if (event.key.toLowerCase() !== "p" || event.ctrlKey || event.metaKey || event.altKey || typing || box.hidden) return;
    var open = !(panel.open && box.open);
    if (open) panel.open = true;
    box.open = open;
    if (open) { box.scrollIntoView({block: "nearest"}); list.querySelector("button").focus(); }
  });
};
