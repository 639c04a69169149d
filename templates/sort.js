"use strict";
// Tables sort by a press on the head of a column: numbers, then words and days; what is empty stays last, and the total below all.
const sortable = (() => {
  const order = (cell) => {
    const text = (cell ? cell.dataset.v || cell.textContent : "").trim().replaceAll("−", "-");
    if (text === "" || text === "–" || /^\d{4}-\d\d-\d\d/.test(text)) return text;
    const number = /^[≤≥(+ ]*(?:at (?:most|least) )?(-?\d+(?:\.\d+)?)(?![\w-])/.exec(text.replace(/(\d)[\u00a0\u202f](?=\d{3})/g, "$1"));
    return number ? parseFloat(number[1]) : text.toLowerCase();
  };
  const compare = (a, b) => {
    if (a === "" || b === "") return a === b ? 0 : a === "" ? 1 : -1;
    if (typeof a !== typeof b) return typeof a === "number" ? -1 : 1;
    return a < b ? -1 : a > b ? 1 : 0;
  };
  return (table, sorted = () => {}) => {
    const heads = [...table.querySelectorAll("thead th")];
    heads.forEach((head, column) => {
      if (!head.textContent.trim()) return;
      const button = document.createElement("button");
      button.type = "button";
      button.append(...head.childNodes);
      head.append(button);
      // A head with a button is not repeated on the next sheet: the text is printed in its place.
      head.dataset.h = button.textContent;
      button.addEventListener("click", () => {
        const down = head.getAttribute("aria-sort") === "ascending";
        heads.forEach((other) => other.removeAttribute("aria-sort"));
        head.setAttribute("aria-sort", down ? "descending" : "ascending");
        for (const body of table.tBodies) {
          const [totals, rows] = [true, false].map((is) => [...body.rows].filter((row) => row.classList.contains("total") === is));
          const by = new Map(rows.map((row) => [row, order(row.cells[column])]));
          rows.sort((a, b) => {
            const [x, y] = [by.get(a), by.get(b)];
            return x === "" || y === "" || !down ? compare(x, y) : compare(y, x);
          });
          body.append(...rows, ...totals);
        }
        sorted();
      });
    });
  };
})();
