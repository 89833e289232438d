"use strict";
// Connects the panel and the keyboard with the map.
packpale.start = function (map, shapes, data, found) {
  var panel = document.getElementById("panel"), frame = map.getContainer();
  packpale.data = data;
  packpale.draw(map, shapes, data, found);
  if (packpale.narrow()) panel.open = false;
  // The panel covers the left of a wide screen and the top of a narrow one: what is shown lies beside it.
  packpale.beside = function () {
    return packpale.narrow() ? [10, panel.querySelector("summary").offsetHeight + 16] : [panel.offsetWidth + 24, 16];
  };
  function whole(asked) {
    // A page that opens is where it is to be at once.
    map.fitBounds(data.view, {paddingTopLeft: packpale.beside(), paddingBottomRight: packpale.narrow() ? [10, 60] : [50, 30],
      animate: Boolean(asked)});
  }
  whole();
  document.getElementById("whole").addEventListener("click", whole);
  L.control.zoom({position: "bottomright"}).addTo(map);
  L.control.scale({position: "bottomleft", metric: !data.imperial, imperial: data.imperial, maxWidth: 160}).addTo(map);

  map.on("click", function (event) {
    if (packpale.trying) return;
    if (packpale.measuring) packpale.measureAt(event.latlng);
    else packpale.ask(map, event.latlng, event.originalEvent.packpaleShape);
  });
  // Enter selects what lies under the cross in the middle of the map, as a click does.
  frame.setAttribute("aria-describedby", "keys");
  // The cross and what the keys do are shown to those who use keys, and not to those who point.
  ["keydown", "keyup", "pointerdown"].forEach(function (kind) {
    frame.addEventListener(kind, function () { frame.classList.toggle("by-keys", kind !== "pointerdown"); }, true);
  });
  frame.addEventListener("keydown", function (event) {
    if (event.key !== "Enter" || event.target !== frame) return;
    var box = frame.getBoundingClientRect();
    var x = box.left + box.width / 2, y = box.top + box.height / 2;
    var met = document.elementFromPoint(x, y);
    (frame.contains(met) && !met.closest(".leaflet-popup") ? met : frame).dispatchEvent(
      new MouseEvent("click", {bubbles: true, cancelable: true, view: window, clientX: x, clientY: y}));
  });

  // What a box of the panel stands for is on the map or not: its key shows with it, on paper too.
  function set(box, on) {
    var key = box.closest(".layer").querySelector(".key");
    if (key) key.hidden = !on;
    box.closest(".layer").classList.toggle("shown", on);
  }
  function showPictures() {
    // The legend stays in sight wherever the panel has been scrolled to.
    var legend = document.getElementById("legend");
    legend.textContent = "";
    panel.querySelectorAll(".layer input[name=picture]").forEach(function (box) {
      var shown = box.checked || packpale.besides(box.value);
      if (box.checked) packpale.layers[box.value].addTo(map); else packpale.layers[box.value].remove();
      set(box, shown);
      if (!shown) return;
      legend.appendChild(document.createElement("strong")).textContent = box.parentNode.textContent.trim();
      legend.appendChild(box.closest(".layer").querySelector("ul").cloneNode(true));
    });
    legend.hidden = !legend.firstChild;
    frame.classList.toggle("coloured", !legend.hidden);
    packpale.divide();
  }
  panel.querySelectorAll(".layer input[type=checkbox]").forEach(function (box) {
    box.addEventListener("change", function () {
      if (box.checked) packpale.layers[box.value].addTo(map); else packpale.layers[box.value].remove();
      set(box, box.checked);
      // Whatever is switched on last, layers lie over one another as they did at first: points over lines over areas.
      data.layers.forEach(function (layer) { if (map.hasLayer(layer.group)) layer.group.bringToFront(); });
    });
    set(box, box.checked);
  });

  packpale.besides = packpale.divide = function () { return false; };
  packpale.compare(map, panel);
  panel.addEventListener("change", showPictures);
  showPictures();
  packpale.measure(map);
  packpale.anotherLine(map);
  packpale.sheet(map);
  packpale.places(map);
  packpale.background(map);
  packpale.labels(map);
  map.on("popupopen popupclose", function (event) { frame.classList.toggle("reading", event.type === "popupopen"); });
};

// Pictures from a network, only while asked for; without a connection the map is as it was.
packpale.background = function (map) {
  var box = document.getElementById("background"), given = packpale.data.background;
  if (!box || !given) return;
  var credit = document.getElementById("credit"), said = document.getElementById("background-said");
  var tiles = L.tileLayer(given.address, {maxZoom: 24, maxNativeZoom: 18});
  tiles.on("tileerror", function () { said.textContent = "It did not load: there is no connection, or its owner refuses."; });
  box.addEventListener("change", function () {
    if (box.checked) tiles.addTo(map); else tiles.remove();
    said.textContent = "";
    credit.textContent = given.credit;
    credit.hidden = !box.checked;
  });
};

// Of names that would lie over one another only the first stays, and the rest wait until there is room. Only those that
// are seen are on the page: thousands would make every movement slow.
packpale.labels = function (map) {
  var pen = document.createElement("canvas").getContext("2d"), look = window.getComputedStyle(map.getContainer());
  pen.font = "700 " + look.fontSize + " " + look.fontFamily;
  // With the edge and the room inside it, as map.css has them.
  var high = 1.5 * parseFloat(look.fontSize) + 6, waiting = false;
  var all = packpale.named.map(function (layer) {
    var text = layer.feature.properties.label, point = layer.feature.geometry.type === "Point";
    return {layer: layer, text: text, point: point, wide: pen.measureText(text).width + 18,
      at: point ? layer.getLatLng() : layer.getBounds().getCenter()};
  });
  function place() {
    var taken = [], size = map.getSize();
    waiting = false;
    all.forEach(function (name) {
      var at = map.latLngToContainerPoint(name.at), top = at.y - (name.point ? high + 10 : high / 2);
      var box = L.bounds([at.x - name.wide / 2, top], [at.x + name.wide / 2, top + high]);
      var free = map.hasLayer(name.layer) && L.bounds([0, 0], size).contains(at) &&
        !taken.some(function (other) { return other.intersects(box); });
      if (free) taken.push(box);
      if (free === Boolean(name.layer.getTooltip())) return;
      if (!free) name.layer.unbindTooltip();
      else {
        name.layer.bindTooltip(function () { return document.createTextNode(name.text); },
          // Above a point, which it would hide.
          {permanent: true, direction: name.point ? "top" : "center", offset: [0, name.point ? -4 : 0],
            className: "label", interactive: false}).openTooltip(name.at);
      }
    });
  }
  map.on("zoomend moveend resize layeradd layerremove", function () {
    if (!waiting) window.requestAnimationFrame(place);
    waiting = true;
  });
  place();
};
