/** The page of work on a file: shows how far it has come, and goes on when it is done. */

const EVERY_MS = 1500;

async function look() {
  const answer = await fetch(location.href, { headers: { Accept: "text/html" } });
  const page = new DOMParser().parseFromString(await answer.text(), "text/html");
  const fresh = page.querySelector("#running");
  if (!fresh) return location.reload();
  document.querySelector("#running").replaceWith(fresh);
  setTimeout(look, EVERY_MS);
}

const later = () => look().catch(() => setTimeout(later, 4 * EVERY_MS));
setTimeout(later, EVERY_MS);
