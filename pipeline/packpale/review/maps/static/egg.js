"use strict";
// The egg: four tangent arcs, symmetric about the axis. The same closed forms as in the program's enclosure/egg.py.
// Its figures are big_x, big_y, axis_bearing_deg, big_radius_m, small_radius_m, centre_spacing_m.
packpale.Egg = function (figures) {
  var R = figures[3], r = figures[4], d = figures[5];
  this.figures = figures.slice();
  this.x = figures[0];
  this.y = figures[1];
  this.psi = (90 - figures[2]) * Math.PI / 180;
  this.R = R;
  this.r = r;
  this.d = d;
  this.F = (d * d + (R - r) * (R + r)) / (2 * (R - r));
  this.phi = Math.atan2(d, (d - (R - r)) * (d + (R - r)) / (2 * (R - r)));
  var phi = this.phi, c = this.F - r;
  this.area = Math.PI * R * R / 2 + phi * r * (2 * this.F - r) + c * c * packpale.Egg.angleMinusSine(2 * phi) / 2
    + (Math.PI / 2 - phi) * r * r;
  this.arcs = [];
  var chainage = 0, normal = this.psi + Math.PI, turns = [Math.PI / 2, phi, Math.PI - 2 * phi, phi, Math.PI / 2];
  var radii = [R, this.F, r, this.F, R], x = this.x + R * Math.cos(normal), y = this.y + R * Math.sin(normal);
  for (var i = 0; i < 5; i++) {
    var tx = Math.sin(normal), ty = -Math.cos(normal), turn = turns[i], radius = radii[i];
    this.arcs.push({x: x, y: y, tx: tx, ty: ty, radius: radius, turn: turn, chainage: chainage, length: radius * turn});
    chainage += radius * turn;
    var along = radius * Math.sin(turn), sag = -2 * radius * Math.pow(Math.sin(turn / 2), 2);
    x += along * tx - sag * ty;
    y += along * ty + sag * tx;
    normal -= turn;
  }
  this.perimeter = chainage;
};

// t - sin t without losing the digits of small angles.
packpale.Egg.angleMinusSine = function (t) {
  if (t > 0.5) return t - Math.sin(t);
  var term = t * t * t / 6, sum = term;
  for (var k = 4; k < 24; k += 2) {
    term *= -t * t / (k * (k + 1));
    sum += term;
  }
  return sum;
};

packpale.Egg.prototype = {
  // Middle of the axis from tip to tip, about which the egg is turned and made larger.
  middle: function () {
    var u = (this.d + this.r - this.R) / 2;
    return {x: this.x + u * Math.cos(this.psi), y: this.y + u * Math.sin(this.psi)};
  },
  taper: function () { return this.r / this.R; },
  aspect: function () { return (this.R + this.d + this.r) / (2 * this.R); },
  // A point in the egg's own frame, u along the axis from the centre of the big end, v to the left of it.
  at: function (u, v) {
    var c = Math.cos(this.psi), s = Math.sin(this.psi);
    return {x: this.x + u * c - v * s, y: this.y + u * s + v * c};
  },
  // A point of the line by chainage, with the direction of travel.
  point: function (chainage) {
    var i = 0;
    while (i < 4 && this.arcs[i + 1].chainage <= chainage) i++;
    var arc = this.arcs[i], angle = (chainage - arc.chainage) / arc.radius;
    var along = arc.radius * Math.sin(angle), sag = -2 * arc.radius * Math.pow(Math.sin(angle / 2), 2);
    var c = Math.cos(angle), s = Math.sin(angle);
    return {x: arc.x + along * arc.tx - sag * arc.ty, y: arc.y + along * arc.ty + sag * arc.tx,
      tx: arc.tx * c + arc.ty * s, ty: arc.ty * c - arc.tx * s};
  },
  // Distance of a point to the line, negative inside.
  distance: function (x, y) {
    var c = Math.cos(this.psi), s = Math.sin(this.psi), dx = x - this.x, dy = y - this.y;
    var u = dx * c + dy * s, v = Math.abs(dy * c - dx * s), phi = this.phi, R = this.R, F = this.F;
    var sin = Math.sin(phi), cos = Math.cos(phi), su = u - this.d, found = -Infinity;
    if (u <= 0) found = Math.hypot(u, v) - R;
    if (su * cos >= v * sin) found = Math.max(found, Math.hypot(su, v) - this.r);
    if (u >= 0 && u * cos <= (v + F - R) * sin) {
      found = Math.max(found, (u * u + v * v - R * R + 2 * (v - R) * (F - R)) / (Math.hypot(u, v + F - R) + F));
    }
    return found;
  },
  // Corners of the line no farther from it than an error in metres, clockwise from the tip of the big end.
  outline: function (error) {
    var points = [], egg = this;
    this.arcs.forEach(function (arc) {
      var n = Math.max(2, Math.ceil(arc.turn / (2 * Math.acos(1 - Math.min(error / arc.radius, 1)))));
      for (var k = 0; k < n; k++) points.push(egg.point(arc.chainage + arc.length * k / n));
    });
    return points;
  }
};

// An egg by x and y of the middle of its axis, bearing, area, aspect (length over width) and taper (small radius over
// big radius).
// Null where there is no such egg.
packpale.Egg.shaped = function (shape) {
  if (!Object.values(shape).every(Number.isFinite)) return null;
  if (!(shape.area > 0 && shape.taper > 0 && shape.taper < 1 && shape.aspect > 1)) return null;
  var taper = shape.taper, d = 2 * shape.aspect - 1 - taper, unit = new packpale.Egg([0, 0, 0, 1, taper, d]);
  var R = Math.sqrt(shape.area / unit.area), u = (d + taper - 1) / 2 * R, psi = (90 - shape.bearing) * Math.PI / 180;
  return new packpale.Egg([shape.x - u * Math.cos(psi), shape.y - u * Math.sin(psi), shape.bearing, R, taper * R, d * R]);
};
