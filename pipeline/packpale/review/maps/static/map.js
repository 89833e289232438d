"use strict";
// Everything our own scripts share.
var packpale = {};

// Lines are drawn to a fraction of a pixel: rounded to whole pixels a long gentle curve would look like a hand-drawn one.
L.Map.include({latLngToLayerPoint: function (at) { return this.project(at).subtract(this.getPixelOrigin()); }});

// Pictures, and groups of shapes, by the values of the panel's boxes.
packpale.layers = {};
packpale.picture = function (one, level, kind) {
  return L.imageOverlay(one.png, one.bounds, {zIndex: level, className: kind, alt: one.title});
};
packpale.draw = function (map, shapes, data, found) {
  data.grounds.forEach(function (one) { packpale.picture(one, 1, "ground").addTo(map); });
  data.pictures.forEach(function (one) { packpale.layers[one.name] = packpale.picture(one, 2, "picture"); });
  data.layers.forEach(function (layer, k) {
    layer.group = packpale.layers[layer.name] = L.featureGroup();
    found[k].features.forEach(function (feature) { feature.layer = layer; });
    shapes.addData(found[k]);
    if (layer.show) layer.group.addTo(map);
  });
};

// A layer may hold lines as well as areas; only areas are filled.
packpale.style = function (feature) {
  var isLine = feature.geometry.type.indexOf("LineString") >= 0;
  return Object.assign({}, feature.layer.style, isLine ? {fill: false} : {}, feature.properties.style);
};

// A point as a disc, or by its letter and number, in a frame that tells kinds apart in grey too.
packpale.point = function (feature, at) {
  if (!feature.layer.signed) return L.circleMarker(at, feature.layer.style);
  return L.marker(at, {keyboard: false, bubblingMouseEvents: true, title: feature.properties.title,
    icon: L.divIcon({className: "sign sign-" + feature.properties.sign.charAt(0), html: feature.properties.sign, iconSize: [12 + 8 * feature.properties.sign.length, 20]})});
};

// A shape's figures when it is selected; those that have a name are kept for packpale.labels.
packpale.named = [];
packpale.shape = function (feature, layer) {
  feature.layer.group.addLayer(layer);
  layer.on("click", function (event) { event.originalEvent.packpaleShape = feature.properties; });
  if (feature.properties.label) packpale.named.push(layer);
};

// A row of a table, its name first. Values enter as text nodes only, so that no name can become markup.
packpale.row = function (table, texts) {
  var line = table.insertRow(), name = line.appendChild(document.createElement("th"));
  name.scope = "row";
  name.textContent = texts[0];
  texts.slice(1).forEach(function (text) { line.insertCell().textContent = text; });
};

packpale.figures = function (box, title, rows) {
  box.appendChild(document.createElement("h2")).textContent = title;
  if (!rows.length) return;
  var table = box.appendChild(document.createElement("table"));
  rows.forEach(function (row) { packpale.row(table, row); });
};

// Opens what is known of a place: the shape that was met, if any, and the ground under it.
packpale.ask = function (map, at, shape) {
  var box = document.createElement("div");
  if (shape && shape.title) {
    packpale.figures(box, shape.title, shape.rows);
    if (shape.link) {
      var link = box.appendChild(document.createElement("a"));
      link.href = shape.link;
      link.textContent = "Open the map of this plot";
    }
  }
  packpale.ground(at).then(function (rows) {
    if (rows) packpale.figures(box, "The ground here", rows);
    if (!box.firstChild) return;
    var panel = document.getElementById("panel");
    var wide = panel.open && !packpale.narrow();
    L.popup({maxWidth: 290, maxHeight: Math.max(160, map.getSize().y - 140),
      autoPanPaddingTopLeft: [wide ? panel.offsetWidth + 24 : 10, 60], autoPanPaddingBottomRight: [56, 20]})
      .setLatLng(at).setContent(box).openOn(map);
    document.getElementById("said").textContent =
      Array.from(box.querySelectorAll("h2, tr"), function (e) { return Array.from(e.children.length ? e.children : [e],
        function (c) { return c.textContent; }).join(": "); }).join("; ");
  });
};

packpale.narrow = function () { return window.matchMedia("(max-width: 640px)").matches; };
