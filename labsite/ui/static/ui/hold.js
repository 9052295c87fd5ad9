// Hold timers at the bay. The clock only helps to keep a hold; the record decides whether it was kept.
function shown(seconds) {
  const whole = Math.max(0, Math.ceil(seconds));
  return `${Math.floor(whole / 60)}:${String(whole % 60).padStart(2, "0")}`;
}

class Hold {
  constructor(place) {
    this.place = place;
    this.seconds = Number(place.dataset.holdS);
    this.part = (name) => place.querySelector(`[data-hold-${name}]`);
    const start = this.part("start");
    start.hidden = false;
    start.addEventListener("click", () => this.start());
  }

  start() {
    clearInterval(this.tick);
    this.began = performance.now();
    this.part("start").textContent = "Start again from the beginning";
    this.say("The clock runs.");
    this.part("state").textContent = "Hold";
    this.tick = setInterval(() => this.show(), 200);
    this.show();
  }

  // Always reckoned from the start, so that a tab put to sleep shows the right time when it wakes.
  show() {
    const passed = (performance.now() - this.began) / 1000;
    this.part("clock").textContent = shown(this.seconds - passed);
    this.part("bar").value = Math.min(passed, this.seconds);
    if (passed < this.seconds) return;
    clearInterval(this.tick);
    this.part("state").textContent = "Time is up: read now";
    this.say("The hold time is up. Read now.");
    this.place.dispatchEvent(new CustomEvent("withstand:held", { bubbles: true }));
  }

  say(text) {
    this.part("words").textContent = text;
  }
}

function begin(root) {
  for (const place of root.querySelectorAll("[data-hold]:not([data-hold-begun])")) {
    place.dataset.holdBegun = "";
    new Hold(place);
  }
}

begin(document);
document.addEventListener("htmx:load", (event) => begin(event.target));
