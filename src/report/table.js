"use strict";
(() => {
  const value = (row, column) => {
    const cell = row.cells[column];
    if (!cell) return null;
    const text = cell.dataset.k ?? cell.textContent.trim().replace("\u2212", "-");
    if (text === "" || text === "\u2013") return null;
    const clock = /^(\d+):([\d.]+)$/.exec(text);
    if (clock) return 60 * Number(clock[1]) + Number(clock[2]);
    const number = Number.parseFloat(text);
    return Number.isNaN(number) ? text : number;
  };
  const compare = (a, b) => {
    if (a === null || b === null) return (a === null) - (b === null);
    if (typeof a === "number" && typeof b === "number") return a - b;
    return String(a).localeCompare(String(b), undefined, { numeric: true });
  };
  for (const table of document.querySelectorAll("table.sortable")) {
    const heads = [...table.tHead.rows[0].cells];
    heads.forEach((head, column) => {
      const button = document.createElement("button");
      button.type = "button";
      button.append(...head.childNodes);
      head.append(button);
      button.addEventListener("click", () => {
        const down = head.getAttribute("aria-sort") === "ascending";
        heads.forEach((other) => other.removeAttribute("aria-sort"));
        head.setAttribute("aria-sort", down ? "descending" : "ascending");
        const body = table.tBodies[0];
        const rows = [...body.rows].map((row, place) => ({ row, place, key: value(row, column) }));
        rows.sort((a, b) => {
          const order = compare(a.key, b.key);
          const unknown = a.key === null || b.key === null;
          return (down && !unknown ? -order : order) || a.place - b.place;
        });
        body.append(...rows.map((entry) => entry.row));
      });
    });
  }
})();
