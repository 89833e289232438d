"use strict";
// From latitude and longitude to x and y of the run's plan in metres, by the polynomial that came with the page.
packpale.toPlan = function (at) {
  var p = packpale.data.plan;
  if (!p) return null;
  var u = 2 * (at.lng - p.box[0]) / (p.box[2] - p.box[0]) - 1, v = 2 * (at.lat - p.box[1]) / (p.box[3] - p.box[1]) - 1;
  if (Math.abs(u) > 1 || Math.abs(v) > 1) return null;
  var x = p.x0, y = p.y0, k = 0;
  for (var i = 0; i <= p.degree; i++) {
    for (var j = 0; i + j <= p.degree; j++, k++) {
      var term = Math.pow(u, i) * Math.pow(v, j);
      x += p.cx[k] * term;
      y += p.cy[k] * term;
    }
  }
  return {x: x, y: y};
};
