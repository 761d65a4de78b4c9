// What hands do: big buttons, three questions, and a foot switch. Each is a command like any other of the bench.
import { by, element, say } from "./words.js";

const DEADLINE_S = 10;
const FOOT_KEYS = [" ", "Enter", "PageDown"];
const FOOT_PAUSE_MS = 500;

export class Steering {
  constructor() {
    this.offsetS = 0;
    this.may = false;
    this.can = [];
    this.rows = [];
    this.footMs = -Infinity;
    for (const button of document.querySelectorAll("[data-verb]")) {
      button.addEventListener("click", (event) => this.press(event, button));
    }
    for (const button of document.querySelectorAll("[data-opens]")) {
      button.addEventListener("click", () => this.ask(button.dataset.opens));
    }
    by("hiss").addEventListener("close", () => this.hissed());
    by("begin").addEventListener("close", () => this.begun());
    by("end").addEventListener("close", () => by("end").returnValue && this.command("finish"));
    by("begin").addEventListener("change", () => this.showCautions());
    document.addEventListener("keydown", (event) => this.foot(event));
  }

  // `nowS`: the bench's clock. Deadlines are told by it, for a tablet's clock may be anywhere.
  hello({ now_s, may_steer }) {
    this.offsetS = now_s - Date.now() / 1000;
    this.may = may_steer;
    by("closed").hidden = may_steer;
    by("buttons").hidden = !may_steer;
    for (const button of document.querySelectorAll(".cautions [data-verb]")) button.hidden = !may_steer;
  }

  face({ can }) {
    this.can = can;
    const paused = can.includes("go-on");
    by("pause").dataset.verb = paused ? "go-on" : "pause";
    say("pause", paused ? "Go on" : "Pause");
    for (const button of document.querySelectorAll("#buttons button, #hiss [data-needs]")) {
      const able = can.includes(button.dataset.verb ?? button.dataset.needs);
      button.setAttribute("aria-disabled", String(!able));
    }
  }

  sheet({ rows }) {
    this.rows = rows;
    this.underWay = rows.some(({ as_found }) => as_found) && rows.some(({ state }) => state === "now");
  }

  // A leak into a neighbour comes out of the plug hole of that one. Not built anew while somebody chooses.
  offerCylinders() {
    const others = this.rows.filter(({ state }) => state !== "now");
    by("holes").replaceChildren(...others.map(({ cylinder }) => {
      const hole = element("button", `Plug hole ${cylinder}`);
      hole.value = `next-cylinder ${cylinder}`;
      return hole;
    }));
    const measured = newestMeasured(this.rows);
    by("rocked").replaceChildren(...this.rows.map(({ cylinder }) => choice("rocked", cylinder, cylinder === measured)));
  }

  // A finger leaves no focus behind, so that the foot switch stays the foot switch; the keyboard's focus stays.
  press(event, button) {
    if (event.detail > 0) button.blur();
    this.command(button.dataset.verb);
  }

  // Without a focus that has a meaning of its own, or with PageDown anywhere, a key is the foot on the switch.
  foot(event) {
    const idle = document.activeElement === document.body || document.activeElement === null;
    if (!this.may || !FOOT_KEYS.includes(event.key) || document.querySelector("dialog[open]")) return;
    if (event.ctrlKey || event.altKey || event.metaKey || (!idle && event.key !== "PageDown")) return;
    event.preventDefault();
    if (event.repeat || performance.now() - this.footMs < FOOT_PAUSE_MS) return;
    this.footMs = performance.now();
    this.command("next");
  }

  async command(verb, content = {}) {
    const deadline = new Date((Date.now() / 1000 + this.offsetS + DEADLINE_S) * 1000).toISOString();
    const body = JSON.stringify({ id: newId(), deadline, ...content });
    say("answer", "");
    try {
      const answer = await this.send(verb, body);
      say("answer", answer.status === "accepted" ? `Done: ${verb}. ${answer.reason}` : answer.reason);
    } catch {
      say("answer", "Not sent: the bench does not answer.");
    }
  }

  // Twice at most; the second one of the same id does nothing if the first one has arrived.
  async send(verb, body) {
    const request = { method: "POST", headers: { "Content-Type": "application/json" }, body };
    const answer = await fetch(`/command/${verb}`, request).catch(() => fetch(`/command/${verb}`, request));
    const text = await answer.text();
    return answer.headers.get("content-type")?.includes("json") ? JSON.parse(text) : { status: "refused", reason: text };
  }

  async ask(name) {
    const dialog = by(name);
    dialog.returnValue = "";
    dialog.querySelector("form").reset();
    if (name === "hiss") this.offerCylinders();
    if (name === "begin" && !(await this.loadChoices())) return;
    dialog.showModal();
  }

  async loadChoices() {
    try {
      this.choices = await (await fetch("/choices.json")).json();
    } catch {
      say("answer", "Not now: the bench does not answer.");
      return false;
    }
    const options = this.choices.engines.map(({ key, name, cylinders }) => {
      const option = element("option", `${name}, ${cylinders} ${cylinders === 1 ? "cylinder" : "cylinders"}`);
      option.value = key;
      return option;
    });
    this.form("begin").elements.engine.replaceChildren(...options);
    this.form("begin").elements.by.value = remembered();
    by("begin-open").hidden = !this.underWay;
    this.showCautions();
    return true;
  }

  showCautions() {
    const { engines, cautions } = this.choices;
    const chosen = engines.find(({ key }) => key === this.form("begin").elements.engine.value);
    const texts = chosen?.certified ? cautions.certified : cautions.any;
    by("begin-cautions").replaceChildren(...texts.map((text) => element("li", text)));
  }

  begun() {
    if (by("begin").returnValue !== "start") return;
    const fields = this.form("begin").elements;
    const who = fields.by.value.trim();
    remember(who);
    this.command("start", {
      engine: fields.engine.value, temperature: fields.temperature.value, soft_step: fields.soft_step.checked,
      by: who, acknowledged_by: fields.acknowledged.checked ? who || "at the page" : "",
    });
  }

  hissed() {
    const [place, what] = by("hiss").returnValue.split(" ");
    if (!place) return;
    const fields = this.form("hiss").elements;
    if (place === "rocked") this.command("rocked", { text: `${fields.rocked.value}: ${what}` });
    else this.command("heard", { text: `${by("hiss").returnValue} ${fields.strength.value} ${fields.words.value}`.trim() });
  }

  form(name) {
    return by(name).querySelector("form");
  }
}

function choice(name, value, checked) {
  const label = element("label");
  const input = Object.assign(element("input"), { type: "radio", name, value, defaultChecked: checked });
  label.append(input, element("span", String(value)));
  return label;
}

// The cylinder under air once it has a reading, else the one that was before it in the order.
function newestMeasured(rows) {
  const now = rows.findIndex(({ state }) => state === "now");
  const newestFirst = [...rows.slice(0, now + 1).reverse(), ...rows.slice(now + 1).reverse()];
  return (newestFirst.find(({ as_found }) => as_found) ?? newestFirst[0])?.cylinder;
}

// crypto.randomUUID is not there on the plain http of a workshop's network.
const newId = () => Array.from(crypto.getRandomValues(new Uint8Array(12)), (b) => b.toString(16).padStart(2, "0")).join("");

function remembered() {
  try {
    return localStorage.getItem("who") ?? "";
  } catch {
    return "";
  }
}

function remember(who) {
  try {
    localStorage.setItem("who", who);
  } catch {
    // no storage: it is asked again
  }
}
