"use strict";
// Distance and area in plan: a line through the points selected, closed from three on.
packpale.measure = function (map) {
  var start = document.getElementById("to-measure");
  if (!start) return;
  var box = document.getElementById("measure"), said = document.getElementById("measured");
  var points = [], drawn = L.layerGroup();
  packpale.measuring = false;

  function length(metres) {
    return packpale.data.imperial ? (metres / 0.3048).toFixed(0) + " ft" : metres.toFixed(1) + " m";
  }
  function area(squares) {
    return packpale.data.imperial ? (squares / 4046.8564224).toFixed(3) + " acres" : (squares / 10000).toFixed(3) + " ha";
  }

  function tell() {
    if (!points.length) return "Select points on the map, or move the cross with the arrow keys and press Enter.";
    var along = 0, twice = 0;
    points.forEach(function (p, k) {
      var next = points[(k + 1) % points.length].plan;
      twice += p.plan.x * next.y - next.x * p.plan.y;
      if (k + 1 < points.length) along += Math.hypot(next.x - p.plan.x, next.y - p.plan.y);
    });
    var text = points.length + (points.length === 1 ? " point" : " points: " + length(along) + " along them");
    if (points.length > 2) {
      var first = points[0].plan, last = points[points.length - 1].plan;
      text += "; closed, " + length(along + Math.hypot(first.x - last.x, first.y - last.y)) + " round an area of "
        + area(Math.abs(twice) / 2);
    }
    return text + ". In plan, not along the slope.";
  }

  function draw() {
    drawn.clearLayers();
    var at = points.map(function (p) { return p.at; });
    var style = {color: "#1d2a2a", weight: 3, dashArray: "2 6", interactive: false, className: "halo"};
    if (at.length > 2) drawn.addLayer(L.polygon(at, Object.assign({}, style, {weight: 1, fillOpacity: 0.12})));
    drawn.addLayer(L.polyline(at, style));
    at.forEach(function (p) {
      drawn.addLayer(L.circleMarker(p, {radius: 5, color: "#1d2a2a", fillColor: "#fffdf8", fillOpacity: 1, interactive: false}));
    });
    said.textContent = tell();
  }

  function set(on) {
    packpale.measuring = on;
    start.setAttribute("aria-pressed", String(on));
    box.hidden = !on;
    map.getContainer().classList.toggle("measuring", on);
    points = [];
    draw();
    if (on) {
      map.closePopup();
      drawn.addTo(map);
      if (packpale.narrow()) document.getElementById("panel").open = false;
      map.getContainer().focus();
    } else drawn.remove();
  }

  packpale.measureAt = function (at) {
    var plan = packpale.toPlan(at);
    if (plan) points.push({at: at, plan: plan});
    draw();
    if (!plan) said.textContent = "That place lies too far away to be measured to. " + tell();
  };
  start.addEventListener("click", function () { set(!packpale.measuring); });
  document.getElementById("measure-back").addEventListener("click", function () { points.pop(); draw(); });
  document.getElementById("measure-anew").addEventListener("click", function () { points = []; draw(); });
  document.getElementById("measure-done").addEventListener("click", function () { set(false); start.focus(); });
};
