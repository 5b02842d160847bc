// The line at the top in which the desk says what happened; screen readers hear it too.

const line = document.getElementById("told");

export function say(words, bad = false) {
  line.textContent = words;
  line.classList.toggle("bad", bad);
  line.title = words;
}

export function complain(error) {
  say(error.message ?? String(error), true);
}

// Run an action of the person; a refusal is said, not thrown.
export async function attempt(action) {
  try {
    return await action();
  } catch (error) {
    complain(error);
    return undefined;
  }
}
