// Small things that the other modules share: the page's elements, numbers as text, the clock.
export const by = (id) => document.getElementById(id);

export function say(id, text) {
  const element = by(id);
  if (element.textContent !== text) element.textContent = text;
}

// A loss as four places, whatever it is: 8.9 stands where 28.9 stood. U+2007 is a blank as wide as a digit.
export function lossText(loss) {
  if (loss === null || !Number.isFinite(loss)) return "\u2007-.-";
  if (loss >= 99.95 || loss <= -9.95) return loss.toFixed(0).padStart(4, "\u2007");
  return (loss + 0 === 0 ? 0 : loss).toFixed(1).padStart(4, "\u2007");
}

export const intervalText = ([loss, half]) => {
  const digits = half < 0.3 ? 2 : 1;
  return `${loss.toFixed(digits)} ± ${half.toFixed(digits)}`;
};

export const clockText = (utcMs) =>
  new Date(utcMs).toLocaleTimeString([], { hour: "2-digit", minute: "2-digit", second: "2-digit", hourCycle: "h23" });

export function secondsText(seconds) {
  if (seconds < 90) return `${Math.round(seconds)} s`;
  return seconds < 5400 ? `${Math.round(seconds / 60)} min` : `${Math.round(seconds / 3600)} h`;
}

export const capital = (word) => word.charAt(0) + word.slice(1).toLowerCase();

export function element(name, text = "", className = "") {
  const made = document.createElement(name);
  made.textContent = text;
  if (className) made.className = className;
  return made;
}
