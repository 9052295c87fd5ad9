// Light or dark: what the machine prefers, unless someone has chosen otherwise on it.
const KEY = "withstand-theme";
const root = document.documentElement;
const prefersDark = matchMedia("(prefers-color-scheme: dark)");

function chosen() {
  try {
    return localStorage.getItem(KEY);
  } catch {
    return null; // storage refused: the machine's preference rules
  }
}

function apply(theme) {
  if (theme === "light" || theme === "dark") root.dataset.theme = theme;
  else delete root.dataset.theme;
}

export function isDark() {
  return root.dataset.theme ? root.dataset.theme === "dark" : prefersDark.matches;
}

function label() {
  for (const button of document.querySelectorAll("[data-theme-toggle]")) {
    button.hidden = false;
    button.textContent = isDark() ? "Light" : "Dark";
    button.setAttribute("aria-label", isDark() ? "Use light colours" : "Use dark colours");
  }
}

function tell() {
  label();
  document.dispatchEvent(new CustomEvent("withstand:theme"));
}

apply(chosen());
if (document.readyState === "loading") document.addEventListener("DOMContentLoaded", label);
else label();
prefersDark.addEventListener("change", tell);

// Paper is always light; pictures are drawn in the colours of the moment, so they are told before and after.
addEventListener("beforeprint", () => {
  apply("light");
  tell();
});
addEventListener("afterprint", () => {
  apply(chosen());
  tell();
});

document.addEventListener("click", (event) => {
  if (!event.target.closest("[data-theme-toggle]")) return;
  const theme = isDark() ? "light" : "dark";
  apply(theme);
  try {
    localStorage.setItem(KEY, theme);
  } catch {
    // storage refused: the choice lasts until the page is left
  }
  tell();
});
