"use strict";
// What another line would cost, meet and hold: from the outlines and cells that stand in the page.
packpale.OtherGround = function (given, limits, cells) {
  this.given = given;
  this.limits = limits;
  this.cells = cells;
};

// A promise of the ground, whose outlines and cells are unpacked first.
packpale.OtherGround.unpacked = function (given) {
  var grid = given.cells;
  var limits = given.limits.map(function (limit) {
    return packpale.inflate(limit.rings).json().then(function (rings) {
      return {name: limit.name, inside: limit.inside, outer: Boolean(limit.outer), pack: limit.pack,
        ground: new packpale.Ground(rings.map(function (flat) {
          var x = 0, y = 0, ring = [];
          for (var k = 0; k < flat.length; k += 2) {
            x += flat[k];
            y += flat[k + 1];
            ring.push([given.origin[0] + x * given.unit, given.origin[1] + y * given.unit]);
          }
          return ring;
        }))};
    });
  });
  var cells = grid.readings.map(function (reading) { return packpale.codes(reading, grid.rows, grid.cols); });
  return Promise.all([Promise.all(limits), Promise.all(cells)]).then(function (both) {
    var named = {};
    grid.readings.forEach(function (reading, k) {
      named[reading.key] = {codes: both[1][k], least: reading.least, scale: Math.pow(10, -reading.digits),
        unknown: reading.wide ? 65535 : 255};
    });
    return new packpale.OtherGround(given, both[0], named);
  });
};

packpale.OtherGround.prototype = {
  // Value of the cell at a row and column; NaN where it is not known.
  value: function (key, index) {
    var cells = this.cells[key], code = cells.codes[index];
    return code === cells.unknown ? NaN : (code + cells.least) * cells.scale;
  },
  // Number of the cell under a point, or of the nearest one.
  cell: function (x, y) {
    var g = this.given.cells, row = Math.floor((g.north - y) / g.cell), col = Math.floor((x - g.west) / g.cell);
    return Math.min(Math.max(row, 0), g.rows - 1) * g.cols + Math.min(Math.max(col, 0), g.cols - 1);
  },
  // Level of the ground between the middles of cells; NaN where one of them is not known.
  level: function (x, y) {
    var g = this.given.cells, col = (x - g.west) / g.cell - 0.5, row = (g.north - y) / g.cell - 0.5;
    var c = Math.min(Math.max(Math.floor(col), 0), g.cols - 2), r = Math.min(Math.max(Math.floor(row), 0), g.rows - 2);
    var s = Math.min(Math.max(col - c, 0), 1), t = Math.min(Math.max(row - r, 0), 1), k = r * g.cols + c;
    return (1 - t) * ((1 - s) * this.value("level", k) + s * this.value("level", k + 1))
      + t * ((1 - s) * this.value("level", k + g.cols) + s * this.value("level", k + g.cols + 1));
  },
  // Along the line: price of what depends on the ground, metres on rock and in water, metres beyond the cells.
  along: function (egg) {
    var g = this.given.cells, found = {price: 0, rock: 0, wet: 0, beyond: 0}, self = this;
    var east = g.west + g.cols * g.cell, south = g.north - g.rows * g.cell;
    egg.arcs.forEach(function (arc) {
      var n = Math.floor(arc.length / self.given.step) + 1, ds = arc.length / n;
      for (var j = 0; j < n; j++) {
        var p = egg.point(arc.chainage + (j + 0.5) * ds), k = self.cell(p.x, p.y), price = self.value("price", k);
        if (p.x < g.west || p.y > g.north || p.x > east || p.y < south || isNaN(price)) found.beyond += ds;
        if (!isNaN(price)) found.price += ds * price;
        if (self.value("rock", k) === 1) found.rock += ds;
        if (self.value("wet", k) === 1) found.wet += ds;
      }
    });
    return found;
  },
  // Length over limits, in all and by limit.
  over: function (egg) {
    var given = this.given, every = [], by = [];
    this.limits.forEach(function (limit) {
      if (!limit.inside) return;
      var stretches = limit.ground.under(egg, given.inside, given.outside);
      var metres = packpale.covered(stretches, egg.perimeter);
      by.push({name: limit.name, metres: metres, stretches: stretches});
      every = every.concat(stretches);
    });
    return {metres: packpale.covered(every, egg.perimeter), by: by};
  },
  price: function (egg, over, along) {
    return this.given.fixed + (along || this.along(egg)).price + this.given.per_over * (over || this.over(egg)).metres;
  },
  // What a hectare or an acre more costs, from a line of the same shape a hundredth larger.
  next: function (egg, price, size) {
    var f = 1.005, m = egg.middle(), x = m.x + f * (egg.x - m.x), y = m.y + f * (egg.y - m.y);
    var larger = new packpale.Egg([x, y, egg.figures[2], f * egg.R, f * egg.r, f * egg.d]);
    return (this.price(larger) - price) / (larger.area - egg.area) * size;
  },
  // The ground past a limit that leaves the line least room; negative room is by how much it is crossed.
  nearest: function (egg, pack) {
    var least = null, given = this.given, strip = given.outside, m = egg.middle();
    this.limits.forEach(function (limit) {
      if (limit.inside || pack && limit.pack === pack) return;
      var room = limit.ground.clearance(egg), wholly = false;
      if (room > 0) wholly = limit.outer ? !limit.ground.holds(m.x, m.y) : limit.ground.holds(m.x, m.y);
      if (wholly) room = -Math.max(room, egg.R);
      room -= strip;
      // The outlines are rounded, and a fitted line touches what holds it.
      if (Math.abs(room) < 3 * given.unit) room = 0;
      if (!least || room < least.room) least = {name: limit.name, room: room, wholly: wholly, outer: limit.outer};
    });
    return least;
  },
  // Shortest tunnel in the section at a point of the line, were the ground across it straight on either side.
  tunnelAt: function (p) {
    var t = this.given.trench, self = this, zero = this.level(p.x, p.y);
    function rise(o) { return self.level(p.x - t.sign * o * p.ty, p.y + t.sign * o * p.tx) - zero; }
    // From a point below the ground straight to a ray of ground that begins at (ox, oz).
    function up(x, z, ox, oz, dx, dz) {
      var along = Math.max(((x - ox) * dx + (z - oz) * dz) / (dx * dx + dz * dz), 0);
      return Math.hypot(ox + along * dx - x, oz + along * dz - z);
    }
    var depth = t.depth, beside = Math.max(t.depth, this.given.cells.cell), reach = t.reach, end = t.level ? 0 : rise(reach);
    if (t.ends_on_rock) depth = this.value("skirt", this.cell(p.x, p.y));
    var cover = Math.min(t.cover, depth);
    if (t.level) {
      var fall = rise(reach);
      // The apron ends where it comes out of the ground.
      if (fall < -cover) reach *= cover / -fall;
      end = reach > 0 ? fall * reach / t.reach : 0;
    }
    var tip = t.level ? -cover : end - cover;
    return up(0, -depth, 0, 0, -beside, rise(-beside)) + Math.hypot(reach, tip + depth)
      + up(reach, tip, reach, end, beside, rise(reach + beside) - end);
  },
  weakest: function (egg) {
    var found = {metres: Infinity, chainage: 0}, n = Math.ceil(egg.perimeter);
    for (var k = 0; k < n; k++) {
      var s = k * egg.perimeter / n, metres = this.tunnelAt(egg.point(s));
      if (metres < found.metres) found = {metres: metres, chainage: s};
    }
    return Number.isFinite(found.metres) ? found : null;
  },
  // Shares of wood, water and wet ground inside, and the relief; null where that is not known.
  held: function (egg) {
    var g = this.given.cells, ring = egg.outline(0.001), self = this, kinds = ["wood", "water", "wet"];
    var counted = kinds.map(function (k) { return self.cells["inside_" + k] && self.cells["inside_" + k].codes; });
    var sums = [0, 0, 0], cells = 0, low = Infinity, high = -Infinity, whole = true;
    var ys = ring.map(function (p) { return p.y; });
    var first = Math.floor((g.north - Math.max.apply(null, ys)) / g.cell), last = Math.ceil((g.north - Math.min.apply(null, ys)) / g.cell);
    for (var row = first; row <= last; row++) {
      var y = g.north - (row + 0.5) * g.cell, west = Infinity, east = -Infinity;
      for (var k = 0; k < ring.length; k++) {
        var a = ring[k], b = ring[(k + 1) % ring.length];
        if ((a.y > y) === (b.y > y)) continue;
        var x = a.x + (y - a.y) / (b.y - a.y) * (b.x - a.x);
        west = Math.min(west, x);
        east = Math.max(east, x);
      }
      if (west > east) continue;
      var c0 = Math.ceil((west - g.west) / g.cell - 0.5), c1 = Math.floor((east - g.west) / g.cell - 0.5);
      if (row < 0 || row >= g.rows || c0 < 0 || c1 >= g.cols) whole = whole && c0 > c1;
      if (row < 0 || row >= g.rows) continue;
      for (var c = Math.max(c0, 0); c <= Math.min(c1, g.cols - 1); c++) {
        var i = row * g.cols + c, level = this.value("level", i);
        cells++;
        if (level !== level) whole = false;
        if (level < low) low = level;
        if (level > high) high = level;
        for (var m = 0; m < 3; m++) if (counted[m] && counted[m][i] === 1) sums[m]++;
      }
    }
    var found = {relief: cells && whole ? high - low : null};
    kinds.forEach(function (kind, m) { found[kind] = counted[m] && cells && whole ? sums[m] / cells : null; });
    return found;
  },
  figures: function (egg, pack, hectare) {
    var over = this.over(egg), along = this.along(egg), price = this.price(egg, over, along), weakest = this.weakest(egg);
    return {area: egg.area, perimeter: egg.perimeter, price: price, next: this.next(egg, price, hectare), over: over,
      rock: along.rock, wet: along.wet, beyond: along.beyond, nearest: this.nearest(egg, pack), weakest: weakest,
      held: this.held(egg)};
  }
};
