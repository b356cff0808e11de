document.querySelectorAll("table.sortable").forEach(function (table) {
  table.tHead.addEventListener("click", function (event) {
    var head = event.target.closest("th");
    if (!head) { return; }
    var body = table.tBodies[0], column = head.cellIndex;
    var up = head.getAttribute("aria-sort") !== "ascending";
    Array.from(head.parentNode.cells).forEach(function (other) { other.removeAttribute("aria-sort"); });
    head.setAttribute("aria-sort", up ? "ascending" : "descending");
    var key = function (row) {
      var cell = row.cells[column];
      return cell.dataset.sort !== undefined ? cell.dataset.sort : cell.textContent.trim();
    };
    var rows = Array.from(body.rows).map(function (row) { return [key(row), row]; });
    rows.sort(function (a, b) {
      if (a[0] === "" || b[0] === "") { return (a[0] === "") - (b[0] === ""); }
      var order = a[0] - b[0];
      if (isNaN(order)) { order = a[0].localeCompare(b[0], "en", {numeric: true}); }
      return up ? order : -order;
    });
    rows.forEach(function (pair) { body.appendChild(pair[1]); });
  });
});

// Boxes say what they hide, and can be reached by keyboard when they hide something. Only those
// near the window are measured: measuring all of them would lay out the whole page at once.
function markHidden(box) {
  var down = box.scrollHeight > box.clientHeight + 2, side = box.scrollWidth > box.clientWidth + 2;
  var note = box.nextElementSibling;
  if (!note || !note.classList.contains("more")) {
    if (!down && !side) { return; }
    note = document.createElement("p");
    note.className = "more";
    box.after(note);
  }
  if (down || side) { box.tabIndex = 0; } else { box.removeAttribute("tabindex"); }
  note.classList.toggle("side", side && !down);
  note.textContent = down || side ? "Scroll " + (down && side ? "down and sideways" : down ? "down" : "sideways") + " inside for more." : "";
}
var near = new Set();
var watch = new IntersectionObserver(function (seen) {
  seen.forEach(function (one) {
    if (one.isIntersecting) { near.add(one.target); markHidden(one.target); } else { near.delete(one.target); }
  });
}, {rootMargin: "600px"});
document.querySelectorAll(".scroll").forEach(function (box) { watch.observe(box); });
window.addEventListener("resize", function () { near.forEach(markHidden); });

// A link into a fold opens it, as does the button for all of them.
function openFolds() {
  var place = location.hash.length > 1 ? document.getElementById(decodeURIComponent(location.hash.slice(1))) : null;
  for (var fold = place && place.closest("details"); fold; fold = fold.parentElement.closest("details")) { fold.open = true; }
  if (place) { place.scrollIntoView(); }
}
window.addEventListener("hashchange", openFolds);
openFolds();
var unfold = document.getElementById("unfold");
unfold.parentNode.hidden = false;
unfold.addEventListener("click", function () {
  var folds = Array.from(document.querySelectorAll("details"));
  var open = folds.some(function (one) { return !one.open; });
  folds.forEach(function (one) { one.open = open; });
  unfold.textContent = open ? "Fold all" : "Unfold all";
});
