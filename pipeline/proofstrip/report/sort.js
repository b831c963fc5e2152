// Every column of a sortable table gets a button; numbers sort by their first figure, all else by the alphabet.
for (const table of document.querySelectorAll(".sortable table")) {
  const body = table.tBodies[0], key = row => column => {
    const text = row.cells[column].textContent.trim(), found = text.replace(/,/g, "").replace(/\u2212/g, "-").match(/^[+-]?\d+(\.\d+)?/);
    return found ? Number(found[0]) : text;
  };
  table.querySelectorAll("thead th").forEach((head, column) => {
    const button = document.createElement("button");
    button.type = "button"; button.append(...head.childNodes); head.append(button);
    button.addEventListener("click", () => {
      const up = head.getAttribute("aria-sort") !== "ascending";
      table.querySelectorAll("thead th").forEach(other => other.removeAttribute("aria-sort"));
      head.setAttribute("aria-sort", up ? "ascending" : "descending");
      const fixed = [...body.rows].filter(row => row.classList.contains("strong"));
      const rows = [...body.rows].filter(row => !row.classList.contains("strong")).sort((a, b) => {
        const [left, right] = [key(a)(column), key(b)(column)];
        const order = typeof left === "number" && typeof right === "number" ? left - right
          : String(left).localeCompare(String(right), undefined, { numeric: true });
        return up ? order : -order;
      });
      body.append(...rows, ...fixed);
    });
  });
}
