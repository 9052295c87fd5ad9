// Uploads with progress. The form is an ordinary one; this only shows how far the file has come.
// The server may answer with HX-Redirect (then the notices survive), with a redirect, or with the page again.
class Drop {
  constructor(place) {
    this.place = place;
    this.form = place.closest("form");
    this.input = place.querySelector("input[type=file]");
    this.bar = place.querySelector("[data-drop-progress]");
    this.words = place.querySelector("[data-drop-words]");
    place.querySelector("[data-drop-hint]").hidden = false;
    for (const name of ["dragenter", "dragover"]) place.addEventListener(name, (event) => this.over(event));
    for (const name of ["dragleave", "drop"]) place.addEventListener(name, () => delete place.dataset.over);
    place.addEventListener("drop", (event) => this.dropped(event));
    this.input.addEventListener("change", () => this.named());
    this.form.addEventListener("submit", (event) => this.send(event));
  }

  over(event) {
    event.preventDefault();
    this.place.dataset.over = "";
  }

  dropped(event) {
    event.preventDefault();
    if (!event.dataTransfer.files.length) return;
    const kept = new DataTransfer();
    const wanted = this.input.multiple ? [...event.dataTransfer.files] : [event.dataTransfer.files[0]];
    for (const file of wanted) kept.items.add(file);
    this.input.files = kept.files;
    this.named();
  }

  named() {
    this.words.textContent = [...this.input.files].map((file) => `${file.name}, ${size(file.size)}`).join("; ");
  }

  send(event) {
    if (this.form.method !== "post" || !this.input.files.length) return;
    event.preventDefault();
    if (this.isSending) return;
    this.isSending = true;
    const request = new XMLHttpRequest();
    request.open("POST", this.form.action);
    request.setRequestHeader("HX-Request", "true");
    request.upload.addEventListener("progress", (step) => step.lengthComputable && this.show((100 * step.loaded) / step.total));
    request.addEventListener("load", () => this.answered(request));
    request.addEventListener("error", () => this.broke());
    request.addEventListener("timeout", () => this.broke());
    this.bar.hidden = false;
    this.show(0);
    request.send(new FormData(this.form, event.submitter ?? undefined));
  }

  show(percent) {
    this.bar.value = percent;
    this.words.textContent = percent < 100 ? `${Math.floor(percent)} % sent` : "All sent; the site is storing it…";
  }

  broke() {
    this.isSending = false;
    this.words.textContent = `The connection broke at ${Math.floor(this.bar.value)} %. Your file is untouched; send it again when you are connected. Sending twice stores it once.`;
  }

  answered(request) {
    this.isSending = false;
    const next = request.getResponseHeader("HX-Redirect");
    if (next) return location.assign(next);
    if (request.status < 400 && request.responseURL !== this.form.action) return location.assign(request.responseURL);
    const page = new DOMParser().parseFromString(request.responseText, "text/html").querySelector("main");
    if (!page) {
      this.words.textContent = `The site answered ${request.status}. Nothing was stored and your file is untouched; try once more, then tell the administrator.`;
      return undefined;
    }
    document.querySelector("main").replaceWith(page);
    window.htmx?.process(page);
    begin(page);
    page.focus();
    return undefined;
  }
}

function size(bytes) {
  return bytes < 2 ** 20 ? `${Math.max(1, Math.round(bytes / 1024))} kB` : `${(bytes / 2 ** 20).toFixed(1)} MB`;
}

function begin(root) {
  for (const place of root.querySelectorAll("[data-drop]:not([data-drop-begun])")) {
    if (!place.closest("form")) continue;
    place.dataset.dropBegun = "";
    new Drop(place);
  }
}

begin(document);
document.addEventListener("htmx:load", (event) => begin(event.target));
