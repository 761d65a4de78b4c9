// The live page: takes what the stream brings, and shows it. Nothing here decides; the bench does.
import { showSheet } from "./sheet.js";
import { Sound } from "./sound.js";
import { Steering } from "./steer.js";
import { Stream } from "./stream.js";
import { Trace } from "./trace.js";
import { by, capital, clockText, element, intervalText, lossText, say, secondsText } from "./words.js";

const STALE_MS = 2000;
const LOOK_MS = 250;
const KEPT = 60;
const NO_LOSS = ["STALE", "NO AIR", "AIR ON"];

const sound = new Sound();
const steering = new Steering();
const trace = new Trace(by("plot"), () => Date.now() / 1000 + steering.offsetS);
const now = { hello: null, face: null, live: null, sheet: null, describe: null, expected: null, liveMs: -Infinity, since: Date.now() };

const takers = {
  hello(hello) {
    const before = now.hello;
    now.hello = hello;
    say("bench", hello.bench);
    document.title = `${hello.bench} · boretight`;
    sound.tones = hello.tones;
    steering.hello(hello);
    if (before && before.boot !== hello.boot) missed(hello);
  },
  trace: (columns) => trace.fill(columns),
  live(live) {
    now.live = live;
    now.liveMs = performance.now();
    trace.add(Date.parse(live.t) / 1000, live.supply_gauge_shown, live.cylinder_gauge_shown,
      NO_LOSS.includes(now.face?.state) ? null : live.loss_at_set_pct);
    show();
  },
  reading(reading) {
    now.expected = null;
    if (reading.cylinder === null) return;
    trace.mark(Date.parse(reading.t) / 1000, "capture");
    if (recent(reading.t)) say("spoken", `Cylinder ${reading.cylinder}: ${reading.loss_at_set_pct.toFixed(1)} percent, stable.`);
  },
  event(event) {
    if (event.kind === "tap") trace.mark(Date.parse(event.t) / 1000, "tap");
    if (event.kind === "expectation") now.expected = event;
    if (["tap", "air-on", "air-off"].includes(event.kind)) now.expected = null;
    if (event.kind === "cue" && recent(event.t)) cue(event);
  },
  said: ({ t_s, text, level }) => log(t_s * 1000, text, level),
  face(face) {
    now.face = face;
    steering.face(face);
    show();
  },
  sheet(sheet) {
    now.sheet = sheet;
    trace.most = Math.max(0, ...sheet.rows.flatMap(({ as_found, after }) => [as_found, after]).map((each) => each?.[0] ?? 0));
    showSheet(sheet);
    steering.sheet(sheet);
    show();
  },
  faults(faults) {
    by("faults").hidden = !faults.length;
    by("faults").replaceChildren(...faults.map(fault));
  },
  describe(describe) {
    now.describe = describe;
    say("health-board", describe.board || "none");
  },
  status(status) {
    const trouble = [status.line_detail, status.faults].filter(Boolean).join(", ");
    say("health-line", trouble ? `${status.line}: ${trouble}` : status.line);
  },
  broker: ({ broker }) => say("health-broker", broker),
  calibration: ({ id, days }) => say("health-calibration", `${calibrated(days)} (${id})`),
  missed: ({ number }) => log(Date.now(), `Missed: ${number} messages came too fast for this page`, "missed"),
  session() {},
  beat() {},
};

const stream = new Stream((name, content) => takers[name](content), lineChanged);

// ---- the face

function show() {
  const state = currentState();
  document.body.dataset.state = state;
  document.body.toggleAttribute("data-alarm", state === "ALARM");
  say("state", capital(state));
  by("shape").setAttribute("href", `#shape-${state.replace(" ", "_")}`);
  say("cylinder", now.face?.cylinder ? `Cylinder ${now.face.cylinder}` : "No cylinder");
  say("loss", lossText(NO_LOSS.includes(state) || !now.live ? null : loss(now.live)));
  say("interval", intervalWords(state));
  say("wanted", wanted());
  showSupply(state);
}

// The hero is as wide as the face, in whatever fonts there are: how wide `88.8 %` is, in its own em.
function fit() {
  const hero = document.querySelector(".hero");
  const { fontWeight, fontFamily } = getComputedStyle(hero);
  const pen = document.createElement("canvas").getContext("2d");
  pen.font = `${fontWeight} 100px ${fontFamily}`;
  hero.style.setProperty("--wide", String((pen.measureText("88.8").width + 0.3 * pen.measureText("%").width) / 100 + 0.1));
}

const age = () => performance.now() - now.liveMs;
const loss = (live) => live.loss_at_set_pct ?? live.loss_pct;
const currentState = () => (!stream.open || age() > STALE_MS || !now.face ? "STALE" : now.face.state);

function wanted() {
  if (!stream.open) return now.hello ? "The page has lost the bench. Trying again" : "Looking for the bench";
  if (!now.face) return "Waiting";
  return age() > STALE_MS && now.face.state !== "STALE" ? "Old data: nothing new from the board" : now.face.wanted;
}

function intervalWords(state) {
  if (state === "STALE") return now.live ? `Last ${loss(now.live)?.toFixed(1) ?? "-"} %, ${secondsText(age() / 1000)} ago` : "No reading yet";
  if (state === "NO AIR") return "No air on the cylinder";
  if (state === "AIR ON") return "Still under air";
  const row = now.sheet?.rows.find((each) => each.state === "now");
  if (state === "ALARM") return "No reading: the crank moved";
  const captured = { "as-found": row?.as_found, "after-tap": row?.after, paused: row?.after ?? row?.as_found }[now.face.phase];
  if (captured) return `Captured ${intervalText(captured)} %`;
  if (now.expected?.low_pct != null) return `Expect ${now.expected.low_pct.toFixed(1)} to ${now.expected.high_pct.toFixed(1)} %`;
  return "Not stable yet";
}

function showSupply(state) {
  const { hello, live, describe } = now;
  if (!hello) return;
  const stale = state === "STALE" || !live;
  const text = (value) => (stale || value == null ? "-" : value.toFixed(hello.decimals)).padStart(5, "\u2007");
  say("supply", `${text(live?.supply_gauge_shown)} ${hello.unit}`);
  say("pressure", `${text(live?.cylinder_gauge_shown)} ${hello.unit}`);
  if (!describe) return;
  const set = describe.set_point_pa / hello.pa;
  const away = stale ? 0 : live.supply_gauge_shown - set;
  const held = live?.supply_held ? "held at" : away < 0 ? `${(-away).toFixed(hello.decimals)} below` : `${away.toFixed(hello.decimals)} above`;
  by("needle").hidden = stale;
  say("supply-word", `${stale ? "set point" : held} ${set.toFixed(hello.decimals)}`);
  scale(stale ? 0 : live.supply_gauge_pa, describe);
}

function scale(supply, { set_point_pa: set, supply_band_pa: band }) {
  const at = { "supply-at": supply, "set-at": set, "band-low": set - band, "band-high": set + band };
  const style = document.querySelector(".scale").style;
  for (const [name, pa] of Object.entries(at)) style.setProperty(`--${name}`, String(Math.min(1, Math.max(0, pa / (1.25 * set)))));
}

function calibrated({ sensors, pairing, restrictor }) {
  const ago = (days) => (days === 0 ? "today" : days === 1 ? "yesterday" : `${days} days ago`);
  const words = [pairing === null ? "not paired" : `paired ${ago(pairing)}`];
  if (sensors !== null) words.push(`sensors ${ago(sensors)}`);
  if (restrictor !== null) words.push(`restrictor ${ago(restrictor)}`);
  return words.join(", ");
}

// ---- what happened

const recent = (t) => Date.parse(t) / 1000 > trace.clockS() - 5;

function cue({ level, text, cue: name }) {
  say("caption", text);
  sound.cue(level, text);
  if (level === "alarm" || name === "fault") say("alarm", text);
}

function log(ms, text, level = "") {
  const item = element("li", "", level);
  item.append(element("time", clockText(ms)), text);
  by("log").prepend(item);
  while (by("log").children.length > KEPT) by("log").lastChild.remove();
}

// The bench began anew: what was between is not known here, and is shown as a hole.
function missed() {
  const seconds = (Date.now() - now.since) / 1000;
  log(Date.now(), `Missed: the bench began anew, nothing is known of ${secondsText(seconds)}`, "missed");
}

function fault({ fault: name, seen, todo }) {
  const words = element("p");
  words.append(element("b", `${name.replaceAll("-", " ")}. `), `${seen} ${todo}`);
  return words;
}

function lineChanged(open) {
  if (!open) now.since = Date.now();
  document.body.dataset.link = open ? "open" : "lost";
  say("health-page", open ? "connected" : "lost, trying again");
  show();
}

// ---- switches

by("sound").addEventListener("click", async () => {
  await sound.turn(!sound.on);
  by("sound").setAttribute("aria-pressed", String(sound.on));
  say("sound", sound.on ? "Sound on" : "Sound off");
  if (document.activeElement === by("sound") && !by("sound").matches(":focus-visible")) by("sound").blur();
});

function dark() {
  const chosen = document.documentElement.dataset.theme;
  return chosen ? chosen === "night" : matchMedia("(prefers-color-scheme: dark)").matches;
}

by("theme").addEventListener("click", () => {
  document.documentElement.dataset.theme = dark() ? "day" : "night";
  try {
    localStorage.setItem("theme", document.documentElement.dataset.theme);
  } catch {
    // no storage: it holds for as long as the page
  }
  named();
  if (!by("theme").matches(":focus-visible")) by("theme").blur();
});

function named() {
  say("theme", dark() ? "Day" : "Night");
  trace.remake();
}

// A page that nobody sees leaves the line to others, unless it is there for the ear.
document.addEventListener("visibilitychange", () => {
  if (document.hidden && !sound.on) stream.disconnect();
  else if (!stream.source) stream.connect();
  if (!document.hidden) stayAwake();
});

function stayAwake() {
  navigator.wakeLock?.request("screen").catch(() => {});
}

matchMedia("(prefers-color-scheme: dark)").addEventListener("change", named);
fit();
named();
stayAwake();
stream.connect();
setInterval(show, LOOK_MS);
