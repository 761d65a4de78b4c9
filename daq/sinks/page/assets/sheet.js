// The cylinders in the order of the test. All text is set as text.
import { by, element, intervalText, say } from "./words.js";

const STATES = { now: "now", done: "", skipped: "left out", open: "" };

export function showSheet(sheet) {
  say("engine", sheet.engine);
  say("limits", sheet.limits);
  by("rows").replaceChildren(...sheet.rows.map(line));
  by("report").href = `/tests/${encodeURIComponent(sheet.test)}`;
  by("report").hidden = !sheet.rows.some((row) => row.state === "done");
  const cautions = by("cautions");
  cautions.hidden = !sheet.cautions.length;
  cautions.querySelector("ul").replaceChildren(...sheet.cautions.map((text) => element("li", text)));
}

function line(row) {
  const tr = element("tr");
  tr.dataset.state = row.state;
  const number = element("th", String(row.cylinder));
  number.scope = "row";
  if (STATES[row.state]) number.append(element("small", ` ${STATES[row.state]}`));
  tr.append(number, reading(row.as_found, row.heard.join("; ")), reading(row.after, tapsText(row)), verdict(row));
  return tr;
}

function reading(interval, below) {
  const td = element("td");
  if (interval) td.append(element("span", `${intervalText(interval)} %`, "number"));
  if (below) td.append(element("small", below));
  return td;
}

function tapsText(row) {
  const taps = row.taps ? `${row.taps} ${row.taps === 1 ? "tap" : "taps"}` : "";
  return [taps, row.effect].filter(Boolean).join(": ");
}

function verdict(row) {
  const name = row.verdict || "none";
  const td = element("td");
  td.append(element("span", row.verdict, `verdict ${name.split(" ")[0]}`));
  return td;
}
