// Offer to print; a browser without scripts prints by its own menu.
const print = document.getElementById("print");
if (print) {
  print.hidden = false;
  print.addEventListener("click", () => window.print());
}
