"use strict";
// Lines are drawn to a fraction of a pixel: rounded to whole pixels a long gentle curve would look like a hand-drawn one.
(function () {
  var whole = L.Polyline.prototype._projectLatlngs;
  L.Polyline.include({_projectLatlngs: function (latlngs, result, bounds) {
    var map = this._map;
    this._map = {latLngToLayerPoint: function (at) {
      return (map.exact || map).project(at).subtract((map.exact || map).getPixelOrigin());
    }, exact: map.exact || map};
    whole.call(this, latlngs, result, bounds);
    this._map = map;
  }});
})();

// A layer may hold lines as well as areas; only areas are filled.
function packpaleStyle(feature, style) {
  var isLine = feature.geometry.type.indexOf("LineString") >= 0;
  return isLine ? Object.assign({}, style, {fill: false}) : style;
}

// A shape's popup and label. Values enter as text nodes only, so that no name can become markup.
function packpaleShape(feature, layer) {
  var p = feature.properties;
  if (p.title) {
    layer.bindPopup(function () {
      var box = document.createElement("div");
      var head = box.appendChild(document.createElement("h2"));
      head.textContent = p.title;
      if (p.rows.length) {
        var table = box.appendChild(document.createElement("table"));
        p.rows.forEach(function (row) {
          var line = table.insertRow();
          var name = line.appendChild(document.createElement("th"));
          name.scope = "row";
          name.textContent = row[0];
          line.insertCell().textContent = row[1];
        });
      }
      if (p.link) {
        var link = box.appendChild(document.createElement("a"));
        link.href = p.link;
        link.textContent = "Open the map of this plot";
      }
      return box;
    }, {maxWidth: 280});
  }
  if (p.label) {
    layer.bindTooltip(function () { return document.createTextNode(p.label); },
      {permanent: true, direction: "center", className: "label", interactive: false});
  }
}

// Connects the panel's boxes with the map's layers.
function packpalePanel(map, view) {
  var panel = document.getElementById("panel");
  var narrow = window.matchMedia("(max-width: 640px)").matches;
  if (narrow) panel.open = false;
  // The panel covers the left of a wide screen and the top of a narrow one: what is shown first lies beside it.
  map.fitBounds(view, {
    paddingTopLeft: narrow ? [10, panel.offsetHeight + 16] : [panel.offsetWidth + 24, 16],
    paddingBottomRight: narrow ? [10, 60] : [50, 30]
  });
  L.control.zoom({position: "bottomright"}).addTo(map);
  var imperial = document.getElementById("scale").dataset.imperial === "yes";
  L.control.scale({position: "bottomleft", metric: !imperial, imperial: imperial, maxWidth: 160}).addTo(map);

  function showPicture() {
    panel.querySelectorAll("input[name=picture]").forEach(function (box) {
      if (!box.value) return;
      var layer = window[box.value];
      if (box.checked) layer.addTo(map); else layer.remove();
    });
    map.getContainer().classList.toggle("coloured", !panel.querySelector("input[name=picture][value='']").checked);
    panel.querySelectorAll(".key").forEach(function (key) {
      var box = panel.querySelector("input[value='" + key.dataset.for + "']");
      key.hidden = !box.checked;
    });
  }
  panel.querySelectorAll("input[name=picture]").forEach(function (box) {
    box.addEventListener("change", showPicture);
  });
  var boxes = panel.querySelectorAll("input[type=checkbox]");
  boxes.forEach(function (box) {
    box.addEventListener("change", function () {
      var layer = window[box.value];
      if (box.checked) layer.addTo(map); else layer.remove();
      // Whatever is switched on last, layers lie over one another in the order of the panel: points over lines.
      boxes.forEach(function (other) {
        if (other.checked) window[other.value].bringToFront();
      });
    });
  });
  if (panel.querySelector("input[name=picture]")) showPicture();
}
