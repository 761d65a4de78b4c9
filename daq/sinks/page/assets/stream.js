// The line to the bench: server-sent events, opened anew whenever it is lost, and how long nothing has come.
const NAMES = ["hello", "trace", "live", "reading", "event", "said", "session", "status", "describe", "face", "sheet",
  "faults", "broker", "calibration", "beat", "missed"];
const SILENT_MS = 5000;
const AGAIN_MS = 1000;

export class Stream {
  // `take(name, content)` gets each message, `changed(open)` is told when the line comes and goes.
  constructor(take, changed) {
    this.take = take;
    this.changed = changed;
    this.open = false;
    this.last = "";
    this.heardMs = performance.now();
    setInterval(() => this.look(), AGAIN_MS);
  }

  connect() {
    this.source?.close();
    this.triedMs = performance.now();
    this.source = new EventSource(`/stream?after=${encodeURIComponent(this.last)}`);
    for (const name of NAMES) this.source.addEventListener(name, (event) => this.heard(name, event));
    this.source.addEventListener("error", () => this.tell(false));
  }

  disconnect() {
    this.source?.close();
    this.source = null;
    this.tell(false);
  }

  heard(name, event) {
    this.heardMs = performance.now();
    if (event.lastEventId) this.last = event.lastEventId;
    this.tell(true);
    this.take(name, JSON.parse(event.data));
  }

  // A line that is silent, or that the browser has given up, is opened anew.
  look() {
    if (!this.source) return;
    const silent = performance.now() - this.heardMs > SILENT_MS;
    if (silent) this.tell(false);
    const given_up = this.source.readyState === EventSource.CLOSED;
    if ((given_up || silent) && performance.now() - this.triedMs > AGAIN_MS * (silent && !given_up ? 5 : 1)) this.connect();
  }

  tell(open) {
    if (open === this.open) return;
    this.open = open;
    this.changed(open);
  }
}
