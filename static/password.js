// Passwords can be looked at while they are typed.

for (const box of document.querySelectorAll("input[data-shows]")) {
  const field = document.getElementById(box.dataset.shows);
  box.parentElement.hidden = false;
  box.addEventListener("change", () => { field.type = box.checked ? "text" : "password"; });
  // Sent as a password again, so that no browser offers it as a text typed before.
  field.form.addEventListener("submit", () => { field.type = "password"; });
}
