// On every page of somebody who is signed in. Signing out takes what the desk keeps on this device
// with it, and asks first where results are not sent. Buttons copy the text they stand under.

const mine = () => Object.keys(localStorage).filter((name) => name.startsWith("desk:"));

document.getElementById("signout")?.addEventListener("submit", (event) => {
  let unsent = 0;
  for (const name of mine()) {
    try {
      unsent += Object.keys(JSON.parse(localStorage.getItem(name)).rows ?? {}).length;
    } catch {
      // Not ours to read: it goes all the same.
    }
  }
  const ask = event.target.dataset.leave.replace("{n}", unsent);
  if (unsent > 0 && !window.confirm(ask)) {
    event.preventDefault();
    return;
  }
  for (const name of mine()) localStorage.removeItem(name);
});

for (const button of document.querySelectorAll("button[data-copy]")) {
  button.hidden = !navigator.clipboard;
  button.addEventListener("click", async () => {
    await navigator.clipboard.writeText(document.getElementById(button.dataset.copy).value);
    button.textContent = button.dataset.copied;
  });
}
