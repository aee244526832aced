// A gym's screen looks for something new every quarter of a minute, until it is told to stop. What has
// not changed is not sent, and nothing on the screen is touched then. Says so when there is no network.

const EVERY = 15_000;
const said = document.getElementById("wall-said");
const button = document.getElementById("wall-pause");
const language = document.documentElement.lang;
const clock = () => new Date().toLocaleTimeString(language, { hour: "2-digit", minute: "2-digit", hourCycle: "h23" });
const say = (what, at) => {
  const text = said.dataset[what].replace("{at}", at);
  if (said.textContent !== text) said.textContent = text;
};
let stopped = new URLSearchParams(location.search).has("still");
let tag = "";
let seen = clock();

async function look() {
  if (stopped || document.hidden) return;
  try {
    const answer = await fetch(location.href, { headers: tag ? { "If-None-Match": tag } : {}, cache: "no-store" });
    if (answer.status === 200) {
      const fresh = new DOMParser().parseFromString(await answer.text(), "text/html").getElementById("wall");
      // Stopped while it was on its way: what is read stays.
      if (stopped || !fresh) return;
      tag = answer.headers.get("etag") ?? "";
      const wall = document.getElementById("wall");
      if (wall.innerHTML !== fresh.innerHTML) wall.replaceChildren(...fresh.childNodes);
    } else if (answer.status !== 304) {
      throw new Error(String(answer.status));
    }
    seen = clock();
    say("fresh", seen);
  } catch {
    if (!stopped) say("lost", seen);
  }
}

function tell() {
  button.textContent = stopped ? button.dataset.go : button.dataset.pause;
  say(stopped ? "stopped" : "fresh", seen);
}

button.hidden = false;
button.addEventListener("click", () => {
  stopped = !stopped;
  tell();
  look();
});
document.addEventListener("visibilitychange", look);
tell();
setInterval(look, EVERY);
