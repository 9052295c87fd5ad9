// On a narrow screen a table is read as cards: each cell then says what its column was called. Tables of raw numbers,
// which are compared down a column, ask to stay as they are (data-wide).

function label(table) {
  const wrapper = table.closest(".table");
  if (!wrapper || wrapper.hasAttribute("data-wide")) return;
  const rows = table.tHead ? table.tHead.rows : [];
  if (rows.length !== 1 || rows[0].cells.length < 3) return;
  const heads = Array.from(rows[0].cells, (cell) => cell.textContent.trim());
  for (const body of table.tBodies) {
    for (const row of body.rows) {
      if (row.cells.length !== heads.length) continue;
      for (const cell of row.cells) {
        if (cell.tagName === "TD" && cell.dataset.label === undefined && heads[cell.cellIndex]) {
          cell.dataset.label = heads[cell.cellIndex];
        }
      }
    }
  }
  wrapper.classList.add("as-cards");
}

function labelAll(root) {
  for (const table of root.querySelectorAll(".table > table")) label(table);
}

if (document.readyState === "loading") document.addEventListener("DOMContentLoaded", () => labelAll(document));
else labelAll(document);
document.addEventListener("htmx:load", (event) => labelAll(event.detail.elt.parentElement || document));
