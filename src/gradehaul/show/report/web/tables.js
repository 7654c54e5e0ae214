/* Tables that sort by the button in a column's head; numbers by value, names by the reader's alphabet. */
const Tables = (() => {
  function keyOf(row, column) {
    const value = row.cells[column].dataset.sort;
    return value === undefined ? row.cells[column].textContent : Number(value);
  }

  function compare(a, b) {
    if (typeof a === "number" && typeof b === "number") return a - b;
    return String(a).localeCompare(String(b), undefined, { numeric: true });
  }

  function sort(table, button) {
    const head = button.closest("th");
    const column = head.cellIndex;
    const up = head.getAttribute("aria-sort") !== "ascending";
    for (const other of table.tHead.rows[0].cells) if (other.hasAttribute("aria-sort")) other.setAttribute("aria-sort", "none");
    head.setAttribute("aria-sort", up ? "ascending" : "descending");
    const rows = [...table.tBodies[0].rows].map((row) => [keyOf(row, column), row]);
    rows.sort(([a], [b]) => (up ? compare(a, b) : compare(b, a)));
    table.tBodies[0].append(...rows.map(([, row]) => row));
  }

  function start() {
    for (const table of document.querySelectorAll("table.sortable")) {
      for (const button of table.querySelectorAll("thead button")) button.addEventListener("click", () => sort(table, button));
    }
  }

  return { start };
})();
