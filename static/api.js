// The page of the API: Swagger UI in place of the plain list, which is there without scripts. It
// asks this service alone; what it sends with a token or a session is what anybody could send.

/* global SwaggerUIBundle */

const place = document.getElementById("viewer");
const dark = window.matchMedia("(prefers-color-scheme: dark)");
const lit = () => document.documentElement.classList.toggle("dark-mode", dark.matches);
lit();
dark.addEventListener("change", lit);

SwaggerUIBundle({
  url: place.dataset.document,
  domNode: place,
  docExpansion: "none",
  // Its colours are inline and too faint.
  syntaxHighlight: false,
  defaultModelsExpandDepth: 0,
  displayRequestDuration: true,
  // Nothing of the document goes to anybody who checks documents.
  validatorUrl: null,
});

// Its field for a body has no name of its own for who does not see it.
new MutationObserver(() => {
  for (const field of place.querySelectorAll("textarea.body-param__text:not([aria-label])")) field.setAttribute("aria-label", place.dataset.body);
}).observe(place, { childList: true, subtree: true });
