"use strict";
// Between latitude and longitude and x and y of the run's plan in metres, by the polynomial that came with the page.
packpale.plan = function (lng, lat) {
  var p = packpale.data.plan, u = 2 * (lng - p.box[0]) / (p.box[2] - p.box[0]) - 1, v = 2 * (lat - p.box[1]) / (p.box[3] - p.box[1]) - 1;
  var x = p.x0, y = p.y0, k = 0;
  for (var i = 0; i <= p.degree; i++) {
    for (var j = 0; i + j <= p.degree; j++, k++) {
      var term = Math.pow(u, i) * Math.pow(v, j);
      x += p.cx[k] * term;
      y += p.cy[k] * term;
    }
  }
  return {x: x, y: y, inside: Math.abs(u) <= 1 && Math.abs(v) <= 1};
};

// Null beyond the area that the polynomial holds for.
packpale.toPlan = function (at) {
  var found = packpale.data.plan && packpale.plan(at.lng, at.lat);
  return found && found.inside ? {x: found.x, y: found.y} : null;
};

// Latitude and longitude of a point of the plan, by Newton's method; null beyond that area.
packpale.fromPlan = function (x, y) {
  var box = packpale.data.plan.box, lng = (box[0] + box[2]) / 2, lat = (box[1] + box[3]) / 2;
  var h = (box[3] - box[1]) * 1e-4;
  for (var k = 0; k < 20; k++) {
    var p = packpale.plan(lng, lat), e = packpale.plan(lng + h, lat), n = packpale.plan(lng, lat + h);
    var a = (e.x - p.x) / h, b = (n.x - p.x) / h, c = (e.y - p.y) / h, d = (n.y - p.y) / h, det = a * d - b * c;
    var dx = x - p.x, dy = y - p.y;
    lng += (d * dx - b * dy) / det;
    lat += (a * dy - c * dx) / det;
    if (Math.hypot(dx, dy) < 1e-4) return p.inside ? {lat: lat, lng: lng} : null;
  }
  return null;
};
