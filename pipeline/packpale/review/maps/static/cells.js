"use strict";
// Figures of single cells as they stand packed in the page, unpacked to whole numbers.
packpale.inflate = function (packed) {
  var bytes = Uint8Array.from(atob(packed), function (c) { return c.charCodeAt(0); });
  return new Response(new Blob([bytes]).stream().pipeThrough(new DecompressionStream("deflate")));
};
packpale.canInflate = function () { return typeof DecompressionStream !== "undefined"; };

packpale.codes = function (reading, rows, cols) {
  return packpale.inflate(reading.packed).arrayBuffer().then(function (buffer) {
    var raw = new Uint8Array(buffer), n = rows * cols, mask = reading.wide ? 65535 : 255;
    var codes = reading.wide ? new Uint16Array(n) : new Uint8Array(n);
    // Each cell was written as the difference from its western neighbour, the first of a row from the one above.
    for (var i = 0; i < n; i++) {
      var before = i % cols ? codes[i - 1] : i ? codes[i - cols] : 0;
      codes[i] = (before + raw[i] + (reading.wide ? raw[n + i] << 8 : 0)) & mask;
    }
    return codes;
  });
};
