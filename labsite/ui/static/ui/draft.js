// Typed values outlive a reload: kept on this machine until the server says that they are saved.
// Only fields that were changed are kept, with what they were before, so that a draft never hides another person's edit.
const WAIT_MS = 200;
const LEFT_OUT = new Set(["hidden", "password", "file", "submit", "button", "reset", "image"]);

const keyOf = (name) => `withstand-draft:${document.body.dataset.person ?? ""}:${name}`;

function stored(key) {
  try {
    return JSON.parse(localStorage.getItem(key)) ?? {};
  } catch {
    return {}; // storage refused, or not ours
  }
}

function store(key, changes) {
  try {
    if (Object.keys(changes).length) localStorage.setItem(key, JSON.stringify(changes));
    else localStorage.removeItem(key);
    return true;
  } catch {
    return false; // full or refused: the mark says so
  }
}

function controls(form) {
  return [...form.elements].filter((item) => item.name && !item.name.startsWith("_") && !LEFT_OUT.has(item.type));
}

const isChoice = (item) => item.type === "checkbox" || item.type === "radio";
const nameOf = (item) => (isChoice(item) ? `${item.name}=${item.value}` : item.name);

function valueOf(item) {
  if (isChoice(item)) return item.checked;
  if (item.multiple) return [...item.selectedOptions].map((option) => option.value).join("\n");
  return item.value;
}

function put(item, value) {
  if (isChoice(item)) item.checked = value;
  else if (item.multiple) for (const option of item.options) option.selected = value.split("\n").includes(option.value);
  else item.value = value;
}

class Draft {
  constructor(form) {
    this.form = form;
    this.key = keyOf(form.dataset.draft);
    this.mark = form.querySelector("[data-draft-mark]") ?? this.newMark();
    this.before = new Map(controls(form).map((item) => [nameOf(item), valueOf(item)]));
    if (form.querySelector("[data-error-summary], [aria-invalid=true]")) this.keepOldBefore();
    this.restore();
    form.addEventListener("input", () => this.later());
    form.addEventListener("change", () => this.later());
    addEventListener("pagehide", () => this.wait && this.keep());
  }

  // A page that came back with errors shows what was typed, which is not what is saved.
  keepOldBefore() {
    for (const [name, change] of Object.entries(stored(this.key))) {
      if (this.before.get(name) === change.value) this.before.set(name, change.before);
    }
  }

  newMark() {
    const mark = document.createElement("span");
    this.form.append(mark);
    return mark;
  }

  later() {
    clearTimeout(this.wait);
    this.wait = setTimeout(() => this.keep(), WAIT_MS);
  }

  changes() {
    const found = {};
    for (const item of controls(this.form)) {
      const [before, value] = [this.before.get(nameOf(item)), valueOf(item)];
      if (before !== value) found[nameOf(item)] = { before, value };
    }
    return found;
  }

  keep() {
    clearTimeout(this.wait);
    this.wait = 0;
    const changes = this.changes();
    this.show(Object.keys(changes).length > 0, store(this.key, changes));
  }

  show(isDirty, isKept = true) {
    this.mark.className = "draft-mark";
    this.mark.setAttribute("role", "status");
    this.mark.textContent = isDirty ? (isKept ? "Not saved yet" : "Not saved yet, and this machine keeps no copy") : "";
  }

  restore() {
    const changes = stored(this.key);
    const restored = [];
    for (const item of controls(this.form)) {
      const change = changes[nameOf(item)];
      if (!change || change.value === valueOf(item)) continue;
      restored.push({ item, now: this.before.get(nameOf(item)), before: change.before });
      put(item, change.value);
    }
    if (restored.length) this.tell(restored);
    this.keep(); // drops from the copy what has been saved by now
  }

  tell(restored) {
    const notice = document.createElement("div");
    notice.className = "notice notice-warn";
    notice.setAttribute("role", "status");
    const title = document.createElement("p");
    title.className = "notice-title";
    title.textContent = "Restored what you had typed";
    const text = document.createElement("p");
    const moved = restored.filter(({ now, before, item }) => now !== before && !isChoice(item));
    text.textContent = "It is not saved yet. Look through it, then save.";
    if (moved.length) text.textContent += ` Saved differently meanwhile: ${moved.map(({ item, now }) => `${item.labels?.[0]?.textContent.trim() ?? item.name} (now “${now}”)`).join(", ")}.`;
    const drop = document.createElement("button");
    drop.type = "button";
    drop.className = "button quiet";
    drop.textContent = "Put back what is saved";
    drop.addEventListener("click", () => {
      for (const item of controls(this.form)) put(item, this.before.get(nameOf(item)));
      this.keep();
      notice.remove();
    });
    notice.append(title, text, drop);
    this.form.prepend(notice);
  }
}

function begin(root) {
  for (const place of root.querySelectorAll("[data-draft-saved]")) store(keyOf(place.dataset.draftSaved), {});
  for (const form of root.querySelectorAll("form[data-draft]:not([data-draft-begun])")) {
    form.dataset.draftBegun = "";
    new Draft(form);
  }
  root.querySelector("[data-error-summary]")?.focus();
}

begin(document);
document.addEventListener("htmx:load", (event) => begin(event.target));
