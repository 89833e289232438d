"use strict";
// Another line in the reader's hand: moved, turned, sized by handles or by figures; what it costs and meets beside it.
packpale.anotherLine = function (map) {
  var start = document.getElementById("to-another"), given = packpale.data.another;
  if (!start || !given) return;
  var box = document.getElementById("another"), said = document.getElementById("another-said");
  var from = document.getElementById("another-from"), address = document.getElementById("another-address");
  var undo = document.getElementById("another-undo"), redo = document.getElementById("another-redo");
  var ground = null, state = null, past = [], ahead = [], drawn = L.layerGroup(), handles = {}, fields = {};
  var pack = given.lines[0].pack, beside = new packpale.Egg(given.lines[0].egg), besideFigures = null, waiting = false;
  var STRIP = {color: "#7a1f5c", weight: 1, smoothFactor: 0.2, dashArray: "1 4", fill: false, interactive: false};
  var LINE = {color: "#7a1f5c", weight: 4, smoothFactor: 0.2, fillColor: "#7a1f5c", fillOpacity: 0.08, interactive: false, className: "halo"};
  var OVER = {color: "#1d2a2a", weight: 9, opacity: 0.75, lineCap: "butt", interactive: false};

  // ---- figures in words ----
  function figure(kind, value) {
    if (value === null || !Number.isFinite(value)) return "not known";
    var unit = given.units[kind], text = (value / unit[1]).toFixed(unit[2]).replace(/\B(?=(\d{3})+(?!\d))/g, ",");
    return text.replace("-", "\u2212") + (unit[0] === "°" ? "" : "\u00a0") + unit[0];
  }
  function money(value) {
    // To three significant digits: more would promise too much.
    if (!Number.isFinite(value)) return "not known";
    var step = value ? Math.pow(10, Math.max(Math.floor(Math.log10(Math.abs(value))) - 2, 0)) : 1;
    var text = Math.round(Math.round(value / step) * step).toString().replace(/\B(?=(\d{3})+$)/g, ",");
    return (given.currency ? given.currency + "\u00a0" : "") + text.replace("-", "\u2212");
  }
  function percent(share) { return share === null ? "not known" : Math.round(100 * share) + "\u00a0%"; }
  function rows(f) {
    var list = [["Area", figure("area", f.area)], ["Fence in plan", figure("length", f.perimeter)],
      ["Likely price", money(f.price)], ["One " + (packpale.data.imperial ? "acre" : "hectare") + " more costs about", money(f.next)],
      ["Room to no-go ground, here the " + f.nearest.name, f.nearest.room >= 0 ? figure("length", f.nearest.room)
        : f.nearest.wholly ? "none: it lies " + (f.nearest.outer ? "outside" : "in it") : "crossed by " + figure("dimension", -f.nearest.room)],
      ["Over limits", figure("length", f.over.metres) + ", " + percent(f.over.metres / f.perimeter)]];
    f.over.by.forEach(function (one) { list.push(["of it " + one.name, figure("length", one.metres)]); });
    return list.concat([["On rock above the bottom", figure("length", f.rock)], ["Trench meets water", figure("length", f.wet)],
      ["Shortest tunnel out", f.weakest ? figure("dimension", f.weakest.metres) + " at chainage " + figure("length", f.weakest.chainage) : "not known"],
      ["Gets out if it digs faster than", f.weakest ? figure("speed", f.weakest.metres / given.unwatched / 3600) : "not known"],
      ["Wood inside", percent(f.held.wood)], ["Water or hollows inside", percent(f.held.water)],
      ["Wet ground inside", percent(f.held.wet)], ["Lowest to highest ground", figure("dimension", f.held.relief)]]);
  }
  function tell(egg) {
    var f = ground.figures(egg, pack, given.units.area[1]), wrong = [];
    besideFigures = besideFigures || ground.figures(beside, pack, given.units.area[1]);
    var body = document.querySelector("#another-figures tbody"), old = rows(besideFigures);
    body.textContent = "";
    rows(f).forEach(function (row, k) { packpale.row(body, [row[0], row[1], old[k][1]]); });
    if (f.nearest.room < 0) wrong.push("It lies on no-go ground with its strip of " + figure("dimension", given.outside) + ": " + f.nearest.name + ".");
    if (f.beyond > 0) wrong.push(figure("length", f.beyond) + " of it run beyond the ground that is known: no figure holds there.");
    if (f.over.metres > given.share * f.perimeter + 0.5) wrong.push("More of it is over limits than the " + percent(given.share) + " that the settings allow.");
    if (egg.r < given.least_radius - 1e-9) wrong.push("Its small end bends tighter than the radius of " + figure("dimension", given.least_radius) + " that the settings allow.");
    if (state.taper < given.taper[0] - 1e-6 || state.taper > given.taper[1] + 1e-6) wrong.push("Small end over big end lies outside the " + given.taper.join(" to ") + " of the settings.");
    if (state.aspect < given.aspect[0] - 1e-6 || state.aspect > given.aspect[1] + 1e-6) wrong.push("Length over width lies outside the " + given.aspect.join(" to ") + " of the settings.");
    var text = wrong.length ? wrong.join(" ") : "It keeps to the settings.";
    if (said.textContent !== text) said.textContent = text;
    said.classList.toggle("wrong", wrong.length > 0);
    drawOver(egg, f.over);
  }

  // ---- drawing ----
  function latlngs(points) { return points.map(function (p) { return packpale.fromPlan(p.x, p.y); }).filter(Boolean); }
  var line = L.polygon([], LINE), strip = L.polygon([], STRIP), over = L.layerGroup();
  function drawOver(egg, found) {
    over.clearLayers();
    found.by.forEach(function (one) {
      one.stretches.forEach(function (s) {
        var n = Math.max(2, Math.ceil((s[1] - s[0]) / 2)), points = [];
        for (var k = 0; k <= n; k++) points.push(egg.point((s[0] + (s[1] - s[0]) * k / n) % egg.perimeter));
        over.addLayer(L.polyline(latlngs(points), OVER));
      });
    });
    line.bringToFront();
  }
  function placed(egg) {
    var side = egg.at(0, egg.R), end = egg.arcs[2], m = egg.middle();
    return {M: m, T: egg.at(egg.d + egg.r * 1.0 + 0.1 * (egg.R + egg.d + egg.r), 0), S: side, L: egg.at(-egg.R, 0), E: {x: end.x, y: end.y}};
  }
  function show() {
    var egg = current();
    line.setLatLngs(latlngs(egg.outline(0.02)));
    var f = egg.figures;
    strip.setLatLngs(latlngs(new packpale.Egg([f[0], f[1], f[2], f[3] + given.outside, f[4] + given.outside, f[5]]).outline(0.05)));
    var at = placed(egg);
    Object.keys(handles).forEach(function (k) {
      var ll = packpale.fromPlan(at[k].x, at[k].y);
      if (ll && handles[k].held !== true) handles[k].setLatLng(ll);
    });
    Object.keys(fields).forEach(function (k) {
      if (document.activeElement !== fields[k].input) fields[k].input.value = (state[k] / fields[k].size).toFixed(fields[k].digits);
    });
    undo.disabled = !past.length;
    redo.disabled = !ahead.length;
    if (!waiting) {
      waiting = true;
      window.requestAnimationFrame(function () { waiting = false; tell(current()); });
    }
  }
  function current() { return packpale.Egg.shaped(state); }
  function stateOf(egg) {
    var m = egg.middle();
    return {x: m.x, y: m.y, bearing: egg.figures[2], area: egg.area, aspect: egg.aspect(), taper: egg.taper()};
  }

  // ---- changes, and taking them back ----
  function kept(before) {
    past.push(before);
    ahead = [];
    note();
    show();
  }
  function note() {
    var figures = current().figures.map(function (v) { return Number(v.toFixed(4)); });
    try { window.history.replaceState(null, "", "#line=" + figures.join(",")); } catch (refused) { window.location.hash = "line=" + figures.join(","); }
    address.value = window.location.href;
  }
  function change(next) {
    var egg = packpale.Egg.shaped(next);
    if (!egg || !packpale.fromPlan(egg.x, egg.y)) return false;
    state = next;
    return true;
  }
  undo.addEventListener("click", function () { ahead.push(state); state = past.pop(); note(); show(); });
  redo.addEventListener("click", function () { past.push(state); state = ahead.pop(); note(); show(); });

  // ---- handles ----
  function dragged(name, before, to) {
    var egg = packpale.Egg.shaped(before), next = Object.assign({}, before);
    var c = Math.cos(egg.psi), s = Math.sin(egg.psi), dx = to.x - before.x, dy = to.y - before.y;
    var u = dx * c + dy * s, v = -dx * s + dy * c;
    if (name === "M") { next.x = to.x; next.y = to.y; }
    if (name === "T") next.bearing = (Math.atan2(dx, dy) * 180 / Math.PI + 360) % 360;
    if (name === "S") {
      var side = egg.at(0, egg.R), f = Math.hypot(dx, dy) / Math.hypot(side.x - before.x, side.y - before.y);
      next.area = before.area * f * f;
    }
    if (name === "L") {
      // The width stays.
      next.aspect = Math.max(-u, 0) * 2 / (2 * egg.R);
      var longer = packpale.Egg.shaped(next);
      if (!longer) return null;
      next.area = before.area * Math.pow(egg.R / longer.R, 2);
    }
    if (name === "E") {
      var end = egg.arcs[2], w = -(end.x - before.x) * s + (end.y - before.y) * c;
      next.taper = before.taper * v / w;
      // Width and length stay.
      var sharper = packpale.Egg.shaped(next);
      if (!sharper) return null;
      next.area = before.area * Math.pow(egg.R / sharper.R, 2);
    }
    return next;
  }
  [["M", "Move the line"], ["T", "Turn the line"], ["S", "Make the line larger or smaller"], ["L", "Make the line longer or shorter"],
    ["E", "Make the small end blunter or sharper"]].forEach(function (one) {
    var name = one[0], before = null;
    var handle = L.marker([0, 0], {draggable: true, keyboard: false, autoPan: false, title: one[1],
      icon: L.divIcon({className: "handle", html: name, iconSize: [30, 30]})});
    handle.on("dragstart", function () { before = state; handle.held = true; });
    handle.on("drag", function () {
      var to = packpale.toPlan(handle.getLatLng()), next = to && dragged(name, before, to);
      if (next && change(next)) show();
    });
    handle.on("dragend", function () { handle.held = false; if (state !== before) kept(before); else show(); });
    handles[name] = handle;
  });

  // ---- fields ----
  function field(key, words, size, digits, step) {
    var label = document.createElement("label"), input = document.createElement("input");
    input.type = "number";
    input.step = step;
    input.id = "another-" + key;
    label.htmlFor = input.id;
    label.textContent = words;
    document.getElementById("another-fields").append(label, input);
    fields[key] = {input: input, size: size, digits: digits};
    input.addEventListener("change", function () {
      var next = Object.assign({}, state), before = state;
      next[key] = Number(input.value) * size;
      if (key === "bearing") next[key] = ((next[key] % 360) + 360) % 360;
      if (input.value !== "" && change(next)) kept(before);
      else said.textContent = words + ": " + (input.value || "nothing") + " makes no line; it stays as it was.";
      input.value = (state[key] / size).toFixed(digits);
    });
  }
  var A = given.units.area;
  field("x", "Middle, x in m", 1, 1, 1);
  field("y", "Middle, y in m", 1, 1, 1);
  field("bearing", "Bearing of the axis, °", 1, 1, 1);
  field("area", "Area, " + A[0], A[1], 3, 0.05);
  field("aspect", "Length over width, " + given.aspect.join(" to "), 1, 3, 0.01);
  field("taper", "Small end over big end, " + given.taper.join(" to "), 1, 3, 0.01);

  given.lines.forEach(function (one, k) { from.add(new Option(one.name, k)); });
  from.add(new Option("as it is now", "now"));
  from.addEventListener("change", function () {
    if (from.value === "now") return;
    var before = state, one = given.lines[from.value];
    if (one.pack && one.pack !== pack) {
      pack = one.pack;
      beside = new packpale.Egg(one.egg);
      besideFigures = null;
      named();
    }
    if (change(stateOf(new packpale.Egg(one.egg)))) kept(before);
  });
  function named() {
    document.getElementById("another-beside").textContent = (given.lines.find(function (l) { return l.pack === pack; }) || given.lines[0]).name;
  }

  // ---- settling ----
  function geojson() {
    var egg = current(), figures = {};
    figures[given.plot_column] = given.plot_id;
    given.columns.forEach(function (name, k) { figures[name] = egg.figures[k]; });
    var ring = latlngs(egg.outline(0.005)).map(function (p) { return [Number(p.lng.toFixed(9)), Number(p.lat.toFixed(9))]; });
    // GeoJSON runs outer rings counter-clockwise.
    ring.reverse();
    ring.push(ring[0]);
    return {type: "FeatureCollection", features: [{type: "Feature", geometry: {type: "Polygon", coordinates: [ring]},
      properties: Object.assign(figures, {flank_radius_m: egg.F, area_m2: egg.area, perimeter_m: egg.perimeter, crs: given.crs})}]};
  }
  packpale.settledLine = geojson;
  document.getElementById("another-save").addEventListener("click", function () {
    var name = given.plot_id.replace(/[^\p{L}\p{N}_-]+/gu, "-") + "_line.geojson", link = document.createElement("a");
    link.href = URL.createObjectURL(new Blob([JSON.stringify(geojson(), null, 1)], {type: "application/geo+json"}));
    link.download = name;
    link.click();
    URL.revokeObjectURL(link.href);
    document.getElementById("another-next").textContent = "Saved as " + name + ". To have it computed in full: packpale run SETTINGS --line " + name;
  });
  document.getElementById("another-copy").addEventListener("click", function () {
    var told = document.getElementById("another-next");
    function byHand() {
      address.focus();
      address.select();
      told.textContent = "The address is marked: copy it with your keyboard.";
    }
    if (!navigator.clipboard) { byHand(); return; }
    navigator.clipboard.writeText(address.value).then(function () { told.textContent = "Copied. Who opens this map at that address sees this line."; }, byHand);
  });
  document.getElementById("another-print").addEventListener("click", function () { window.print(); });

  // ---- opening and closing ----
  function set(on) {
    packpale.trying = on;
    start.setAttribute("aria-pressed", String(on));
    box.hidden = !on;
    map.getContainer().classList.toggle("trying", on);
    var panel = document.getElementById("panel");
    if (!on) {
      drawn.remove();
      panel.open = !packpale.narrow();
      (panel.open ? start : panel.querySelector("summary")).focus();
      return;
    }
    panel.open = false;
    map.closePopup();
    [strip, over, line].concat(Object.values(handles)).forEach(function (l) { drawn.addLayer(l); });
    drawn.addTo(map);
    note();
    show();
    // The whole line beside what lies over the map.
    map.fitBounds(L.latLngBounds(latlngs(current().outline(1))), packpale.narrow()
      ? {paddingTopLeft: [20, 60], paddingBottomRight: [20, box.offsetHeight + 30]}
      : {paddingTopLeft: [40, 60], paddingBottomRight: [box.offsetWidth + 60, 60]});
  }
  function open(figures) {
    if (!packpale.canInflate()) {
      document.getElementById("said").textContent = "This browser is too old to try another line.";
      return Promise.resolve();
    }
    return (ground ? Promise.resolve(ground) : packpale.OtherGround.unpacked(given)).then(function (found) {
      ground = found;
      if (figures) state = stateOf(new packpale.Egg(figures));
      state = state || stateOf(beside);
      named();
      set(true);
    });
  }
  document.getElementById("another-note").textContent = "Quick figures. Area and length are exact and metres over limits nearly so. The bill of a line was up to "
    + percent(given.price_off) + " off the likely price told here, its shortest tunnel up to " + percent(given.tunnel_off)
    + ", since both take the ground from cells. Before anybody digs have the line computed in full.";
  start.addEventListener("click", function () { if (packpale.trying) set(false); else open(); });
  document.getElementById("another-done").addEventListener("click", function () { set(false); });
  // Shows a line by its six figures, and gives what is told of it; also for a page opened at the address of a line.
  packpale.tryLine = function (figures) {
    return open(figures).then(function () { return ground.figures(new packpale.Egg(figures), pack, given.units.area[1]); });
  };
  var found = /^#line=([-0-9.,e]+)$/.exec(window.location.hash), figures = found && found[1].split(",").map(Number);
  var makes = figures && figures.length === 6 && figures.every(Number.isFinite) && figures[4] > 0 && figures[3] > figures[4]
    && figures[5] > figures[3] - figures[4] && packpale.fromPlan(figures[0], figures[1]);
  if (makes) packpale.tryLine(figures);
};
