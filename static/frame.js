// On every page of somebody who is signed in. Signing out takes what the desk keeps on this device for
// them with it, once the service has signed them out, and asks first where results are not sent. Buttons
// copy the text they stand under.

const form = document.getElementById("signout");
const desk = document.getElementById("desk");
// What the desk keeps of this account, and of no other: that one's is theirs to send. A device may keep nothing.
function mine() {
  try {
    return Object.keys(localStorage).filter((name) => name.startsWith("desk:") && name.endsWith(`:${form.dataset.account}`));
  } catch {
    return [];
  }
}

// What waits on this device, or on this page alone.
function unsent() {
  let n = 0;
  for (const name of mine()) {
    try {
      n += Object.keys(JSON.parse(localStorage.getItem(name)).rows ?? {}).length;
    } catch {
      // Not ours to read: it goes all the same.
    }
  }
  return Math.max(n, desk?.dataset.unsent ?? 0);
}

form?.addEventListener("submit", async (event) => {
  const n = unsent();
  event.preventDefault();
  if (n > 0 && !window.confirm(form.dataset.leave.replace("{n}", n))) return;
  try {
    const body = new URLSearchParams(new FormData(form));
    const answer = await fetch(form.action, { method: "POST", body, redirect: "manual", signal: AbortSignal.timeout?.(20_000) });
    // Refused: the service's own page says why, and what to do.
    if (answer.type !== "opaqueredirect") return form.submit();
  } catch {
    window.alert(form.dataset.offline);
    return;
  }
  for (const name of mine()) localStorage.removeItem(name);
  // It was asked about, and is not asked again by whoever leaves the page.
  if (desk) desk.dataset.unsent = 0;
  location.assign("/signin?out=1");
});

for (const button of document.querySelectorAll("button[data-copy]")) {
  button.hidden = !navigator.clipboard;
  button.addEventListener("click", async () => {
    const field = document.getElementById(button.dataset.copy);
    try {
      await navigator.clipboard.writeText(field.value);
      button.textContent = button.dataset.copied;
    } catch {
      // Not allowed, or not from here: the text is ready to be copied by hand, as is said beside it.
      button.textContent = button.dataset.byHand;
      field.focus();
      field.select();
    }
  });
}
