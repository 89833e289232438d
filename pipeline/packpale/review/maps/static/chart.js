"use strict";
// The map with its layers, the lowest first; layers go by their names.
packpale.layers = {};
packpale.chart = function (data) {
  var map = packpale.map = L.map("map", {attributionControl: false, zoomControl: false, bounceAtZoomLimits: false,
    zoomSnap: 0.25, maxZoom: 24, preferCanvas: data.canvas});
  map.setView(data.view[0], 10);
  function picture(given, level, kind) {
    return L.imageOverlay(given.address, given.bounds, {zIndex: level, className: kind, alt: given.title});
  }
  data.grounds.forEach(function (given) { picture(given, 1, "ground").addTo(map); });
  data.pictures.forEach(function (given) { packpale.layers[given.name] = picture(given, 2, "picture"); });
  data.shapes.forEach(function (given) {
    var options = {smoothFactor: 0.2, onEachFeature: packpale.shape,
      style: function (feature) { return packpale.style(feature, given.style); }};
    if (given.signed) options.pointToLayer = packpale.sign;
    else if (given.style.radius) options.pointToLayer = function (feature, at) { return L.circleMarker(at, given.style); };
    var layer = packpale.layers[given.name] = L.geoJson(given.features, options);
    if (given.show) layer.addTo(map);
  });
  return map;
};
