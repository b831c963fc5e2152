// Every column of a sortable table gets a button; numbers sort by their first figure, all else by the alphabet.
for (const table of document.querySelectorAll(".sortable table")) {
  const body = table.tBodies[0], key = (row, column) => {
    const text = row.cells[column].textContent.trim();
    const found = text.replace(/,/g, "").replace(/\u2212/g, "-").match(/^[+-]?\d+(\.\d+)?/);
    return found ? Number(found[0]) : text;
  };
  const rank = value => value === "" || value === "\u2013" ? 2 : typeof value === "number" ? 0 : 1;
  const compare = (left, right, up) => {
    if (rank(left) === 2 || rank(right) === 2) return rank(left) - rank(right); // what is absent stays last
    const order = rank(left) - rank(right) || (typeof left === "number" ? left - right
      : left.localeCompare(right, undefined, { numeric: true }));
    return up ? order : -order;
  };
  const hint = document.createElement("span");
  hint.className = "hint"; hint.textContent = ". A column\u2019s name sorts by it.";
  table.caption.append(hint);
  table.querySelectorAll("thead th").forEach((head, column) => {
    const button = document.createElement("button");
    button.type = "button"; button.append(...head.childNodes); head.append(button);
    button.addEventListener("click", () => {
      const up = head.getAttribute("aria-sort") !== "ascending";
      table.querySelectorAll("thead th").forEach(other => other.removeAttribute("aria-sort"));
      head.setAttribute("aria-sort", up ? "ascending" : "descending");
      body.append(...[...body.rows].sort((a, b) => compare(key(a, column), key(b, column), up)));
    });
  });
}
