"use strict";
// Where a line runs over ground past a limit, exact, from the outlines of that ground, as in the program's
// enclosure/over_limits.py: on an arc the cross-sections of the line sweep part of a ring about the arc's centre, and
// each edge of the ground meets those between the two rays that hold what of it lies in that ring.

// Ground of one limit: edges of its rings, and in which bands of y they lie.
packpale.Ground = function (rings) {
  var edges = [], south = Infinity, north = -Infinity;
  rings.forEach(function (ring) {
    for (var k = 0; k < ring.length; k++) {
      var a = ring[k], b = ring[(k + 1) % ring.length];
      if (a[0] === b[0] && a[1] === b[1]) continue;
      edges.push(a[0], a[1], b[0], b[1]);
      south = Math.min(south, a[1]);
      north = Math.max(north, a[1]);
    }
  });
  this.edges = Float64Array.from(edges);
  this.count = edges.length / 4;
  this.south = south;
  this.bands = Math.max(1, Math.min(512, this.count >> 2));
  this.height = (north - south) / this.bands || 1;
  this.band = [];
  for (var i = 0; i < this.bands; i++) this.band.push([]);
  for (var e = 0; e < this.count; e++) {
    var y0 = edges[4 * e + 1], y1 = edges[4 * e + 3];
    for (i = this.row(Math.min(y0, y1)); i <= this.row(Math.max(y0, y1)); i++) this.band[i].push(e);
  }
};

packpale.Ground.prototype = {
  row: function (y) { return Math.min(Math.max(Math.floor((y - this.south) / this.height), 0), this.bands - 1); },
  holds: function (x, y) {
    var inside = false, E = this.edges;
    if (!(y >= this.south && y <= this.south + this.bands * this.height)) return false;
    this.band[this.row(y)].forEach(function (e) {
      var ay = E[4 * e + 1], by = E[4 * e + 3];
      if ((ay > y) !== (by > y) && x < E[4 * e] + (y - ay) / (by - ay) * (E[4 * e + 2] - E[4 * e])) inside = !inside;
    });
    return inside;
  },
  // Stretches [from, to] of an egg whose cross-section touches this ground, in order; the last may pass the perimeter.
  under: function (egg, inside, outside) {
    var E = this.edges, found = [], perimeter = egg.perimeter;
    egg.arcs.forEach(function (arc) {
      var nx = -arc.ty, ny = arc.tx, cx = arc.x - arc.radius * nx, cy = arc.y - arc.radius * ny;
      var reach = arc.radius + outside, hollow = arc.radius - inside;
      var middle = egg.point(arc.chainage + arc.length / 2), far = arc.length / 2 + Math.max(inside, outside);

      function keep(low, high) {
        for (var lap = -1; lap < 2; lap++) {
          var a = Math.max(low + lap * 2 * Math.PI, 0), b = Math.min(high + lap * 2 * Math.PI, arc.turn);
          if (b >= a) found.push([arc.chainage + arc.radius * a, arc.chainage + arc.radius * b]);
        }
      }
      for (var e = 0; e < E.length; e += 4) {
        var ax = E[e], ay = E[e + 1], bx = E[e + 2], by = E[e + 3];
        if (Math.max(ax, bx) < middle.x - far || Math.min(ax, bx) > middle.x + far) continue;
        if (Math.max(ay, by) < middle.y - far || Math.min(ay, by) > middle.y + far) continue;
        // Seen from the centre: u towards the start of the arc, v along the way.
        var u = (ax - cx) * nx + (ay - cy) * ny, v = (ax - cx) * arc.tx + (ay - cy) * arc.ty;
        var length = Math.hypot(bx - ax, by - ay);
        var eu = ((bx - ax) * nx + (by - ay) * ny) / length, ev = ((bx - ax) * arc.tx + (by - ay) * arc.ty) / length;
        var foot = -(u * eu + v * ev), off = Math.abs(u * ev - v * eu);
        if (off >= reach) continue;
        var span = function (t0, t1, halfTurn) {
          var au = u + t0 * eu, av = v + t0 * ev, bu = u + t1 * eu, bv = v + t1 * ev;
          var first = Math.atan2(av, au) + halfTurn;
          if (first > Math.PI) first -= 2 * Math.PI;
          var swept = Math.atan2(au * bv - av * bu, au * bu + av * bv);
          keep(first + Math.min(swept, 0), first + Math.max(swept, 0));
        };
        var half = Math.sqrt((reach - off) * (reach + off)), t0 = Math.max(foot - half, 0), t1 = Math.min(foot + half, length);
        if (t0 > t1) continue;
        if (off >= Math.abs(hollow)) { span(t0, t1, 0); continue; }
        half = Math.sqrt((Math.abs(hollow) - off) * (Math.abs(hollow) + off));
        if (hollow > 0) {
          if (t0 <= Math.min(t1, foot - half)) span(t0, Math.min(t1, foot - half), 0);
          if (Math.max(t0, foot + half) <= t1) span(Math.max(t0, foot + half), t1, 0);
          continue;
        }
        // The cross-section reaches past the centre, and there it meets what lies on the other side.
        span(t0, t1, 0);
        t0 = Math.max(foot - half, 0);
        t1 = Math.min(foot + half, length);
        if (t0 <= t1) span(t0, t1, Math.PI);
      }
    });
    if (!found.length) return this.holds(egg.arcs[0].x, egg.arcs[0].y) ? [[0, perimeter]] : [];
    found = packpale.joined(found);
    // Between two stretches no edge is met: all cross-sections there lie wholly in the ground or outside.
    var whole = [found[0].slice()], ground = this;
    function full(from, to) {
      var at = egg.point(((from + to) / 2) % perimeter);
      return ground.holds(at.x, at.y);
    }
    for (var k = 1; k < found.length; k++) {
      var last = whole[whole.length - 1];
      if (full(last[1], found[k][0])) last[1] = found[k][1]; else whole.push(found[k].slice());
    }
    var first = whole[0], end = whole[whole.length - 1];
    if (first[0] + perimeter - end[1] <= 2e-9 || full(end[1], first[0] + perimeter)) {
      if (whole.length === 1) return [[0, perimeter]];
      end[1] = first[1] + perimeter;
      whole.shift();
    }
    return whole.filter(function (s) { return s[1] - s[0] > 1e-9; });
  },
  // How far this ground stays from an egg; negative by how deep its edge reaches inside.
  clearance: function (egg) {
    var E = this.edges, least = Infinity;
    for (var e = 0; e < E.length; e += 4) {
      var ax = E[e], ay = E[e + 1], bx = E[e + 2], by = E[e + 3];
      var half = Math.hypot(bx - ax, by - ay) / 2;
      if (egg.distance((ax + bx) / 2, (ay + by) / 2) - half >= least) continue;
      // The distance to a convex line is convex along an edge: its least value is found by cutting thirds away.
      var low = 0, high = 1;
      for (var k = 0; k < 60 && (high - low) * half > 1e-4; k++) {
        var p = low + (high - low) / 3, q = high - (high - low) / 3;
        if (egg.distance(ax + p * (bx - ax), ay + p * (by - ay)) < egg.distance(ax + q * (bx - ax), ay + q * (by - ay))) high = q;
        else low = p;
      }
      var t = (low + high) / 2;
      least = Math.min(least, egg.distance(ax + t * (bx - ax), ay + t * (by - ay)), egg.distance(ax, ay), egg.distance(bx, by));
    }
    return least;
  }
};

// Stretches in order, those that touch made one.
packpale.joined = function (stretches) {
  var out = [];
  stretches.slice().sort(function (a, b) { return a[0] - b[0]; }).forEach(function (s) {
    var last = out[out.length - 1];
    if (last && s[0] <= last[1] + 1e-9) last[1] = Math.max(last[1], s[1]); else out.push(s.slice());
  });
  return out;
};

// Length of line in any of several stretches of a closed line.
packpale.covered = function (stretches, perimeter) {
  var cut = [];
  stretches.forEach(function (s) {
    cut.push([s[0], Math.min(s[1], perimeter)]);
    if (s[1] > perimeter) cut.push([0, s[1] - perimeter]);
  });
  return packpale.joined(cut).reduce(function (sum, s) { return sum + s[1] - s[0]; }, 0);
};
