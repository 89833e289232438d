"use strict";
// The figures of single cells. They are unpacked when the first place is asked about.
(function () {
  var unpacked = null;

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
    return (reading.cut_at_top && code === unknown - 1 ? "at least " : "") + figure + (tight ? "" : " ") + reading.unit;
  }

  // Rows of name and value for a place, or null where the page carries none.
  packpale.ground = function (at) {
    var probe = packpale.data.probe, place = packpale.toPlan(at);
    if (!probe) return Promise.resolve(null);
    var outside = [["Outside", probe.whole ? "of the ground that was read" : "of the plot: this page tells no figures here"]];
    if (!place) return Promise.resolve(outside);
    var col = Math.floor((place.x - probe.west) / probe.cell), row = Math.floor((probe.north - place.y) / probe.cell);
    if (col < 0 || row < 0 || col >= probe.cols || row >= probe.rows) return Promise.resolve(outside);
    if (!packpale.canInflate()) {
      return Promise.resolve([["Figures", "this browser is too old to unpack them; the rasters beside this page hold them"]]);
    }
    unpacked = unpacked || Promise.all(probe.readings.map(function (r) { return packpale.codes(r, probe.rows, probe.cols); }));
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
