// Closes the head's menu of further pages by Escape and by a press elsewhere; opening it needs no script.
const open = () => document.querySelector(".more[open]");

document.addEventListener("keydown", (event) => {
  const menu = event.key === "Escape" && open();
  if (!menu) return;
  const inside = menu.contains(document.activeElement);
  menu.open = false;
  if (inside) menu.querySelector("summary").focus();
});

document.addEventListener("pointerdown", (event) => {
  const menu = open();
  if (menu && !menu.contains(event.target)) menu.open = false;
});
