"use strict";
// The figures of single cells. They are unpacked when the first place is asked about.
(function () {
  var unpacked = null;

  function unpack(reading, rows, cols) {
    var bytes = Uint8Array.from(atob(reading.packed), function (c) { return c.charCodeAt(0); });
    var stream = new Blob([bytes]).stream().pipeThrough(new DecompressionStream("deflate"));
    return new Response(stream).arrayBuffer().then(function (buffer) {
      var raw = new Uint8Array(buffer), n = rows * cols, mask = reading.wide ? 65535 : 255;
      var codes = reading.wide ? new Uint16Array(n) : new Uint8Array(n);
      // Each cell was written as the difference from its western neighbour, the first of a row from the one above.
      for (var i = 0; i < n; i++) {
        var before = i % cols ? codes[i - 1] : i ? codes[i - cols] : 0;
        codes[i] = (before + raw[i] + (reading.wide ? raw[n + i] << 8 : 0)) & mask;
      }
      return codes;
    });
  }

  function said(reading, code) {
    var unknown = reading.wide ? 65535 : 255;
    if (code === unknown) return "not known";
    if (reading.several) {
      var held = reading.words.filter(function (word, bit) { return code >> bit & 1; });
      return held.length ? reading.lead + held.join("; ") : reading.none;
    }
    if (reading.words.length) return reading.words[code];
    var figure = ((code + reading.least) / Math.pow(10, reading.digits)).toFixed(reading.digits);
    var tight = reading.unit === "°" || !reading.unit;
    return (reading.cut && code === unknown - 1 ? "at least " : "") + figure + (tight ? "" : " ") + reading.unit;
  }

  // Rows of name and value for a place, or null where the page carries none.
  packpale.ground = function (at) {
    var probe = packpale.data.probe, place = packpale.toPlan(at);
    if (!probe) return Promise.resolve(null);
    var outside = [["Outside", probe.whole ? "of the ground that was read" : "of the plot: this page tells no figures here"]];
    if (!place) return Promise.resolve(outside);
    var col = Math.floor((place.x - probe.west) / probe.cell), row = Math.floor((probe.north - place.y) / probe.cell);
    if (col < 0 || row < 0 || col >= probe.cols || row >= probe.rows) return Promise.resolve(outside);
    if (typeof DecompressionStream === "undefined") {
      return Promise.resolve([["Figures", "this browser is too old to unpack them; the rasters beside this page hold them"]]);
    }
    unpacked = unpacked || Promise.all(probe.readings.map(function (r) { return unpack(r, probe.rows, probe.cols); }));
    return unpacked.then(function (codes) {
      var rows = probe.readings.map(function (reading, k) {
        return [reading.title, said(reading, codes[k][row * probe.cols + col])];
      });
      var crs = packpale.data.plan.crs;
      rows.push(["x" + (crs.length < 20 ? " in " + crs : ""), place.x.toFixed(1)], ["y", place.y.toFixed(1)]);
      return rows;
    });
  };
})();
