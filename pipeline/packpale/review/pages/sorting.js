// Long tables can be put in another order by their heads, and cut down to rows that hold some words.
(function () {
  "use strict";
  const LONG = 20;
  function figure(cell) {
    const found = /[-−]?[\d,]*\.?\d+/.exec(cell.textContent);
    return found ? Number(found[0].replace(/,/g, "").replace("−", "-")) : null;
  }
  document.querySelectorAll("table").forEach(function (table) {
    const body = table.tBodies[0], rows = body ? Array.from(body.rows) : [];
    if (rows.length < LONG || rows.some(function (row) { return row.cells.length !== rows[0].cells.length; })) return;
    const heads = Array.from(table.tHead.rows[0].cells);
    const values = rows.map(function (row) {
      return heads.map(function (head, k) {
        return head.className === "" ? figure(row.cells[k]) : row.cells[k].textContent.trim();
      });
    });
    // Rows without a figure stay last, whichever way the others run.
    function order(k, down) {
      const places = rows.map(function (row, i) { return i; });
      places.sort(function (i, j) {
        const a = values[i][k], b = values[j][k];
        if (a === null || b === null) return (a === null) - (b === null) || i - j;
        const way = typeof a === "number" ? a - b : a.localeCompare(b);
        return (down ? -way : way) || i - j;
      });
      body.append(...places.map(function (i) { return rows[i]; }));
    }
    heads.forEach(function (head, k) {
      const button = document.createElement("button");
      button.type = "button";
      button.className = "order";
      button.append(...head.childNodes);
      head.append(button);
      button.addEventListener("click", function () {
        const down = head.getAttribute("aria-sort") === "ascending";
        heads.forEach(function (other) { other.removeAttribute("aria-sort"); });
        head.setAttribute("aria-sort", down ? "descending" : "ascending");
        order(k, down);
      });
    });
    const label = document.createElement("label"), box = document.createElement("input"), said = document.createElement("span");
    label.className = "filter";
    label.textContent = "Only rows with ";
    box.type = "search";
    said.setAttribute("role", "status");
    label.append(box);
    table.parentNode.before(label, said);
    const texts = rows.map(function (row) { return row.textContent.toLocaleLowerCase(); });
    box.addEventListener("input", function () {
      const wanted = box.value.trim().toLocaleLowerCase();
      let shown = 0;
      rows.forEach(function (row, i) {
        row.hidden = !texts[i].includes(wanted);
        shown += !row.hidden;
      });
      said.textContent = wanted ? " " + shown + " of " + rows.length + " rows" : "";
    });
  });
})();
